import type { Kernels } from '../wasm/kernels.ts';
import { modelPictures } from './model-picture.ts';
import { fringePx } from './optics.ts';
import type { Optics } from './optics.ts';
import type { PathKind } from './parameters.ts';

/** Samples per pixel of the pictures whose contours are measured. */
const FINE = 4;

/** Half side of a picture that holds the half-peak contour of a star with this largest variance (px^2 per axis). */
export const pictureReachPx = (largestVariancePx2: number, optics: Optics): number =>
  Math.min(24, 3 + 3 * Math.sqrt(largestVariancePx2) + 2 * fringePx(optics));

/**
 * Widths of the model's stars as the report defines them: 2 sqrt(A / pi), A the area inside the half-peak contour of
 * the star as seen through the pixel. `reachPx`: half side of the picture.
 */
export function modelWidths(kernels: Kernels, optics: Optics, reachPx: number, fine = FINE) {
  const pictures = modelPictures(kernels, optics, reachPx, fine);
  const fwhmAt = (theta: Float64Array, path: PathKind, xi: number, eta: number): number =>
    fwhmOfPicture(pictures.draw({ theta, path }, { xi, eta }), pictures.side, fine);
  return { fwhmAt, close: pictures.close };
}

/** Width of a square picture's star, px, `fine` samples a pixel. */
export const fwhmOfPicture = (values: Float64Array, side: number, fine: number): number =>
  (2 * Math.sqrt(areaAboveHalf(values, side) / Math.PI)) / fine;

/** Area (in cells) where the picture, linear on triangles between samples, exceeds half of its peak. */
function areaAboveHalf(values: Float64Array, side: number): number {
  let peak = 0;
  for (const value of values) peak = Math.max(peak, value);
  const half = peak / 2;
  let area = 0;
  for (let y = 0; y + 1 < side; y++)
    for (let x = 0; x + 1 < side; x++) {
      const at = y * side + x;
      const a = values[at] - half;
      const b = values[at + 1] - half;
      const c = values[at + side] - half;
      const d = values[at + side + 1] - half;
      if (a <= 0 && b <= 0 && c <= 0 && d <= 0) continue;
      area += aboveZero(a, b, d) + aboveZero(a, c, d);
    }
  return area;
}

/** Share of half a cell in which the plane through three corner values is positive. */
function aboveZero(a: number, b: number, c: number): number {
  const [low, middle, high] = [a, b, c].sort((p, q) => p - q);
  if (low >= 0) return 0.5;
  if (high <= 0) return 0;
  if (middle <= 0) return (0.5 * high * high) / ((high - low) * (high - middle) || 1);
  return 0.5 - (0.5 * low * low) / ((low - high) * (low - middle) || 1);
}
