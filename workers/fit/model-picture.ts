import type { Kernels } from '../wasm/kernels.ts';
import type { Optics } from './optics.ts';
import { LOCAL, P, localBasis, localValues } from './parameters.ts';
import type { PathKind } from './parameters.ts';
import { freePath, legsOf } from './free-path.ts';
import { pathTable } from './path.ts';
import { makePlan } from './plan.ts';
import { roundBlur, roundnessOf } from './round-blur.ts';
import { starImages } from './star-image.ts';

/** A field without noise: its parameters, and how its stars moved. */
export interface DrawnField {
  theta: Float64Array;
  path: PathKind;
}

/** Where a star is drawn: (xi, eta) in half-diagonals from the sensor's centre, its chief ray off the picture's middle. */
export interface DrawnPlace {
  xi: number;
  eta: number;
  dxPx?: number;
  dyPx?: number;
}

export interface ModelPictures {
  /** Samples a side; the middle of the middle pixel is sample `middle`. */
  side: number;
  middle: number;
  /** A star of unit flux per pixel, as seen through the pixel, row by row. Valid until the next call. */
  draw(field: DrawnField, place: DrawnPlace): Float64Array;
  close(): void;
}

/**
 * Draws stars of a fitted field with `fine` samples per pixel. `reachPx`: half side of the picture. Holds kernel
 * memory until it is closed.
 */
export function modelPictures(
  kernels: Kernels,
  optics: Optics,
  reachPx: number,
  fine: number,
): ModelPictures {
  const mark = kernels.arena.mark();
  const sidePx = 2 * Math.ceil(reachPx) + 1;
  const plan = makePlan(kernels, { optics, sidePx, periodSides: 1.3, maxFrequency: 1.05 });
  const side = sidePx * fine;
  const picture = new Float64Array(side * side);

  function draw({ theta, path }: DrawnField, { xi, eta, dxPx = 0, dyPx = 0 }: DrawnPlace): Float64Array {
    const local = localValues(localBasis(xi, eta), theta);
    const reach = plan.freqs * plan.step * (Math.abs(local[LOCAL.motionX]) + Math.abs(local[LOCAL.motionY]));
    const scene = {
      plan,
      round: roundBlur(plan, roundnessOf(theta)),
      path: pathTable(path, theta[P.path1], theta[P.path2], reach),
      free: path === 'free' ? freePath(plan, legsOf(theta), false) : null,
      wanted: null,
    };
    // Shifting the star by parts of a pixel interleaves whole-pixel images to a fine one.
    for (let j = 0; j < fine; j++)
      for (let i = 0; i < fine; i++) {
        const { value } = starImages(kernels, scene, local, dxPx - i / fine, dyPx - j / fine);
        for (let y = 0; y < sidePx; y++)
          for (let x = 0; x < sidePx; x++)
            picture[(y * fine + j) * side + x * fine + i] = value[y * plan.sideStride + x];
      }
    return picture;
  }
  return { side, middle: (fine * (sidePx - 1)) / 2, draw, close: () => kernels.arena.reset(mark) };
}
