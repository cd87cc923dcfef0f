import { meshAt, type Sky } from '../background/sky.ts';
import type { Kernels } from '../wasm/kernels.ts';
import { ALL_SITES, siteShare, type Plane } from '../wasm/plane.ts';

/** Pixels of one kind that are weighed against each other; white noise keeps its variance. */
export interface Mask {
  pixels: { dx: number; dy: number; weight: number }[];
  /** Overlapping masks share pixels: so many independent values does each of a solid patch count for. */
  independentShare: number;
}

/** The pixel by itself. */
export const PLAIN_MASK: Mask = { pixels: [{ dx: 0, dy: 0, weight: 1 }], independentShare: 1 };

/**
 * Second differences along both axes, [1 -2 1] x [1 -2 1] / 6 (Immerkaer 1996, Computer Vision and Image Understanding
 * 64, 300). What is smooth over three pixels of a kind leaves nothing in it: sky, gradients, and the light of a star that
 * is not much narrower than that. On the greens of a mosaic the axes are the diagonals. Squares of Gaussians correlate
 * as the square of the mask's own correlation: (36 + 2 16 + 2) / 36 = 70 / 36 for each axis.
 */
export function curvatureMask(sites: number): Mask {
  const [u, v] = axesOf(sites);
  const row = [1, -2, 1];
  const pixels = [-1, 0, 1].flatMap((j) =>
    [-1, 0, 1].map((i) => ({
      dx: i * u[0] + j * v[0],
      dy: i * u[1] + j * v[1],
      weight: (row[i + 1] * row[j + 1]) / 6,
    })),
  );
  return { pixels, independentShare: (36 / 70) ** 2 };
}

/** Steps from a pixel to the next of its kind. */
function axesOf(sites: number): [number, number][] {
  if (sites === ALL_SITES)
    return [
      [1, 0],
      [0, 1],
    ];
  if (siteShare(sites) === 0.5)
    return [
      [1, 1],
      [1, -1],
    ];
  return [
    [2, 0],
    [0, 2],
  ];
}

/** What one mask says: the square of its value, and the light under it, weighted as the light's noise enters. */
export interface NoiseSample {
  light: number;
  square: number;
  /** Height of the star that the light is of; 0 for the sky. */
  height: number;
}

const MOST_SAMPLES = 120_000;
/** The mean of the nine pixels may lie so many of its sigmas from the sky: beyond is a star. It says nothing of the mask. */
const SKY_REACH = 3;

/** Noise of the sky about the frame, star light left out; `light` is the sky's level there, stored units. */
export function skyNoise(plane: Plane, sky: Sky, { arena }: Kernels): NoiseSample[] {
  const { widthPx, heightPx, sites } = plane;
  const pixels = arena[plane.kind](plane.address, widthPx * heightPx);
  const mask = curvatureMask(sites).pixels.map(({ dx, dy, weight }) => ({
    step: dy * widthPx + dx,
    weight,
  }));
  // Masks of a kind do not overlap six pixels apart (a mosaic's reach over five); an even step stays on one kind.
  const step = 2 * Math.max(3, Math.ceil(Math.sqrt((widthPx * heightPx) / MOST_SAMPLES) / 2));
  const first = firstOf(sites);
  const samples: NoiseSample[] = [];
  for (let y = 2 + first.y; y < heightPx - 2; y += step)
    for (let x = 2 + first.x; x < widthPx - 2; x += step) {
      const at = y * widthPx + x;
      let value = 0;
      let sum = 0;
      for (const { step: apart, weight } of mask) {
        const stored = pixels[at + apart];
        value += weight * stored;
        sum += stored;
      }
      const light = meshAt(sky, sky.levels, plane, x, y);
      const sigma = meshAt(sky, sky.sigmas, plane, x, y);
      if (Math.abs(sum / 9 - light) < (SKY_REACH * sigma) / 3)
        samples.push({ light, square: value * value, height: 0 });
    }
  return samples;
}

/** The first pixel that counts. */
function firstOf(sites: number): { x: number; y: number } {
  const bit = [0, 1, 2, 3].find((each) => (sites >> each) & 1) ?? 0;
  return { x: bit & 1, y: bit >> 1 };
}
