import type { StampSet } from '../protocol/stamps.ts';
import type { StarPixels } from './star-solve.ts';

/** Share of the signal by which the model may be wrong in each pixel, while searching. */
export const SEARCH_MODEL_ERROR = 0.02;
const GREEN = 1;
const NO_FILTER = 3;

/** Whether the fit uses a pixel: of a mosaic only the greens, so that one wavelength serves. */
export const isFitted = (stamps: StampSet, at: number): boolean =>
  stamps.mask[at] === 1 && (stamps.channel[at] === GREEN || stamps.channel[at] === NO_FILTER);

/**
 * The usable pixels of one stamp with a first guess of their noise from the smoothed data themselves.
 * `stride`: row length of the images that they will be compared with.
 */
export function pixelsOf(stamps: StampSet, star: number, stride: number): StarPixels {
  const side = stamps.sidePx;
  const first = star * side * side;
  const index: number[] = [];
  const electrons: number[] = [];
  const sigma: number[] = [];
  const background = borderLevel(stamps, star);
  const variance = stamps.backgroundVariance[star];
  for (let y = 0; y < side; y++)
    for (let x = 0; x < side; x++) {
      const at = first + y * side + x;
      if (!isFitted(stamps, at)) continue;
      const signal = Math.max(0, neighbourMean(stamps, first, x, y) - background);
      index.push(y * stride + x);
      electrons.push(stamps.electrons[at]);
      sigma.push(1 / Math.sqrt(variance + signal + (SEARCH_MODEL_ERROR * signal) ** 2));
    }
  return {
    index: Int32Array.from(index),
    electrons: Float64Array.from(electrons),
    inverseSigma: Float64Array.from(sigma),
  };
}

/** Median of the stamp's outermost pixels that the fit uses. */
export function borderLevel(stamps: StampSet, star: number): number {
  const side = stamps.sidePx;
  const first = star * side * side;
  const border: number[] = [];
  for (let y = 0; y < side; y++)
    for (let x = 0; x < side; x++) {
      const edge = Math.min(x, y, side - 1 - x, side - 1 - y);
      const at = first + y * side + x;
      if (edge <= 1 && isFitted(stamps, at)) border.push(stamps.electrons[at]);
    }
  border.sort((a, b) => a - b);
  return border.length ? border[border.length >> 1] : 0;
}

function neighbourMean(stamps: StampSet, first: number, x: number, y: number): number {
  const side = stamps.sidePx;
  let sum = 0;
  let count = 0;
  for (let j = Math.max(0, y - 1); j <= Math.min(side - 1, y + 1); j++)
    for (let i = Math.max(0, x - 1); i <= Math.min(side - 1, x + 1); i++) {
      const at = first + j * side + i;
      if (!isFitted(stamps, at)) continue;
      sum += stamps.electrons[at];
      count++;
    }
  return count ? sum / count : 0;
}
