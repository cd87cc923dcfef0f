import { beforeAll, describe, expect, test } from 'vitest';
import { PICTURE_SAMPLES_PER_PX } from '../../workers/protocol/model.ts';
import { createRandom } from '../../workers/simulate/random.ts';
import type { Kernels } from '../../workers/wasm/kernels.ts';
import { laidStar, type LaidStar } from '../oracle/mean-picture.ts';
import { inArena, planeOf, testKernels } from '../support/planes.ts';

let kernels: Kernels;
beforeAll(async () => {
  kernels = await testKernels();
});

const [widthPx, heightPx, radiusPx] = [24, 20, 5];
const side = 2 * radiusPx * PICTURE_SAMPLES_PER_PX + 1;
const GREEN_SITES = 6;

function drawn(kind: 'u16' | 'f32') {
  const random = createRandom(8);
  const values = Array.from({ length: widthPx * heightPx }, () => Math.round(500 + 40 * random.normal()));
  if (kind === 'u16') return Uint16Array.from(values);
  values[8 * widthPx + 9] = NaN;
  return Float32Array.from(values);
}

function kernelLay(
  pixels: Uint16Array | Float32Array,
  sites: number,
  star: LaidStar,
  mean: Float32Array | null,
  peak: number,
): Float64Array {
  return inArena(kernels, () => {
    const { run, arena } = kernels;
    const { address, kind } = planeOf(kernels, { pixels, widthPx, heightPx });
    const nodes = side * side;
    const [sums, work, expected] = [arena.alloc(16 * nodes + 8), arena.alloc(96), arena.alloc(4 * nodes)];
    arena.f64(sums, 2 * nodes + 1).fill(0)[2 * nodes] = 42;
    if (mean) arena.f32(expected, nodes).set(mean);
    const lay = kind === 'u16' ? run.layStarU16 : run.layStarF32;
    const { xPx, yPx, sky, flux, weight } = star;
    const where = [address, widthPx, heightPx, sites, xPx, yPx, radiusPx, sky, flux, weight] as const;
    lay(...where, mean ? expected : 0, peak, side, sums, work);
    expect(arena.f64(sums, 2 * nodes + 1)[2 * nodes]).toBe(42);
    return arena.f64(sums, 2 * nodes).slice();
  });
}

describe('a star laid into a mean picture equals the plain version', () => {
  test.each([
    ['in the middle', 'u16', 15, 11.37, 9.81],
    ['on a pixel exactly', 'u16', 15, 12, 10],
    ['beyond two borders', 'u16', 15, 1.2, 17.9],
    ['on the greens of a mosaic', 'u16', GREEN_SITES, 11.6, 9.2],
    ['with a pixel that has no value', 'f32', 15, 11.37, 9.81],
  ] as const)('%s', (_, kind, sites, xPx, yPx) => {
    const star = { xPx, yPx, sky: 480, flux: 900, weight: 37 };
    const pixels = drawn(kind);
    const counts = (x: number, y: number) => ((sites >> ((x & 1) + 2 * (y & 1))) & 1) === 1;
    const frame = { pixels, widthPx, heightPx, counts };
    const mean = Float32Array.from({ length: side * side }, (_, node) => 0.03 * Math.sin(node));
    const peak = 0.03;
    const outlier = (value: number, node: number) =>
      Math.abs(value - mean[node]) > 0.1 * peak + 0.5 * Math.abs(mean[node]);
    for (const last of [false, true]) {
      const got = kernelLay(pixels, sites, star, last ? mean : null, peak);
      const want = laidStar(frame, star, radiusPx, side, PICTURE_SAMPLES_PER_PX, last ? outlier : undefined);
      // The same sums in the same precision: rounding.
      want.forEach(({ value, share }, node) => {
        expect(Math.abs(got[2 * node] - value)).toBeLessThan(1e-10);
        expect(Math.abs(got[2 * node + 1] - share)).toBeLessThan(1e-10);
      });
    }
  });
});
