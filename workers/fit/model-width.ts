import type { Kernels } from '../wasm/kernels.ts';
import type { Optics } from './optics.ts';
import { LOCAL, P, localBasis, localValues } from './parameters.ts';
import type { PathKind } from './parameters.ts';
import { pathTable } from './path.ts';
import { makePlan } from './plan.ts';
import { roundBlur } from './round-blur.ts';
import { starImages } from './star-image.ts';

/** Samples per pixel of the pictures whose contours are measured. */
const FINE = 4;

/**
 * Widths of the model's stars as the report defines them: 2 sqrt(A / pi), A the area inside the half-peak contour of
 * the star as seen through the pixel. `reachPx`: half side of the picture.
 */
export function modelWidths(kernels: Kernels, optics: Optics, reachPx: number) {
  const mark = kernels.arena.mark();
  const side = 2 * Math.ceil(reachPx) + 1;
  const plan = makePlan(kernels, { optics, sidePx: side, periodSides: 1.3, maxFrequency: 1.05 });
  const fine = side * FINE;
  const picture = new Float64Array(fine * fine);

  /** Width at one place; `blurFloorPx` keeps a star without air from vanishing between samples. */
  function fwhmAt(theta: Float64Array, path: PathKind, xi: number, eta: number): number {
    const local = localValues(localBasis(xi, eta), theta);
    const reach = plan.freqs * plan.step * (Math.abs(local[LOCAL.motionX]) + Math.abs(local[LOCAL.motionY]));
    const scene = {
      plan,
      round: roundBlur(plan, Math.exp(theta[P.lnBlur]), theta[P.core]),
      path: pathTable(path, theta[P.path1], theta[P.path2], reach),
      wanted: null,
    };
    // Shifting the star by quarters of a pixel interleaves whole-pixel images to a fine one.
    for (let j = 0; j < FINE; j++)
      for (let i = 0; i < FINE; i++) {
        const { value } = starImages(kernels, scene, local, -(i / FINE), -(j / FINE));
        for (let y = 0; y < side; y++)
          for (let x = 0; x < side; x++)
            picture[(y * FINE + j) * fine + x * FINE + i] = value[y * plan.sideStride + x];
      }
    return (2 * Math.sqrt(areaAboveHalf(picture, fine) / Math.PI)) / FINE;
  }
  return { fwhmAt, close: () => kernels.arena.reset(mark) };
}

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
