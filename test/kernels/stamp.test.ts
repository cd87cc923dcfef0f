import { beforeAll, describe, expect, test } from 'vitest';
import { createRandom } from '../../workers/simulate/random.ts';
import type { Kernels } from '../../workers/wasm/kernels.ts';
import {
  adaptiveMoments,
  blockAverage,
  gather,
  type AdaptiveState,
  type GatherWish,
} from '../oracle/stamp.ts';
import { noisePicture } from '../support/noise-pictures.ts';
import { columnOf, listOf, type PixelList } from '../support/pixel-list.ts';
import { inArena, planeOf, SITES, testKernels, type Picture } from '../support/planes.ts';

let kernels: Kernels;
beforeAll(async () => {
  kernels = await testKernels();
});

function kernelGather(picture: Picture, wish: GatherWish) {
  const { run, arena } = kernels;
  return inArena(kernels, () => {
    const plane = planeOf(kernels, picture, { sites: wish.sites });
    const side = 2 * Math.ceil(wish.radius) + 1;
    const capacity = (side * side + 8) & ~3;
    const list: PixelList = { address: arena.alloc(capacity * 20 + 4), capacity, count: 0 };
    const neighbours = arena.alloc(wish.neighbours.length * 12);
    const stats = arena.alloc(32);
    arena.f32(neighbours, wish.neighbours.length * 3).set(wish.neighbours.flat());
    arena.f32(list.address + capacity * 20, 1)[0] = 42;
    const kernel = plane.kind === 'u16' ? run.gatherU16 : run.gatherF32;
    list.count = kernel(
      plane.address,
      plane.widthPx,
      plane.heightPx,
      wish.cx,
      wish.cy,
      wish.radius,
      wish.level,
      wish.sigma,
      wish.sites,
      wish.saturation,
      neighbours,
      wish.neighbours.length,
      list.address,
      capacity,
      stats,
    );
    expect(arena.f32(list.address + capacity * 20, 1)[0]).toBe(42);
    const [saturated, outside, masked, peak] = arena.f64(stats, 4);
    const [dx, dy, value, weight] = [0, 1, 2, 3].map((n) => columnOf(kernels, list, n));
    const all = Array.from(dx, (_, i) => ({ dx: dx[i], dy: dy[i], value: value[i], weight: weight[i] }));
    expect(list.count % 4).toBe(0);
    const samples = all.filter((sample) => sample.weight === 1);
    const padding = all.slice(samples.length);
    expect(padding.length).toBeLessThan(4);
    for (const pad of padding) expect(pad).toEqual({ dx: 0, dy: 0, value: 0, weight: 0 });
    return {
      samples: samples.map((sample) => ({ dx: sample.dx, dy: sample.dy, value: sample.value })),
      saturated,
      outside,
      masked,
      peak,
    };
  });
}

describe.each(['u16', 'f32'] as const)('gathering of %s pixels equals the plain version', (kind) => {
  test.each([
    [81, 63],
    [30, 1],
    [7, 5],
  ])('%i x %i', (widthPx, heightPx) => {
    const picture = noisePicture({
      widthPx,
      heightPx,
      kind,
      seed: widthPx,
      riseX: 0,
      riseY: 0,
      stars: 6,
      hot: 6,
      holes: kind === 'f32' ? Math.ceil((widthPx * heightPx) / 40) : 0,
    });
    const random = createRandom(5);
    for (const sites of Object.values(SITES))
      for (let n = 0; n < 25; n++) {
        const wish: GatherWish = {
          // Some lie outside of the frame.
          cx: random.integer(widthPx + 8) - 4,
          cy: random.integer(heightPx + 8) - 4,
          radius: Math.fround(1 + 11 * random.uniform()),
          level: 800,
          sigma: 12,
          sites,
          saturation: n % 3 === 0 ? Infinity : 1100,
          neighbours: Array.from({ length: n % 4 }, () => [
            Math.fround(12 * random.normal()),
            Math.fround(12 * random.normal()),
            Math.fround(30 * random.uniform()),
          ]),
        };
        expect(kernelGather(picture, wish)).toEqual(gather(picture, wish));
      }
  });
});

describe.each(['u16', 'f32'] as const)('block averages of %s pixels equal the plain version', (kind) => {
  test.each([
    [64, 48, 4],
    [61, 47, 5],
    [61, 47, 2],
    [9, 1, 1],
    [3, 3, 4],
  ])('%i x %i by %i', (widthPx, heightPx, factor) => {
    const holes = kind === 'f32' ? Math.ceil((widthPx * heightPx) / 8) : 0;
    const picture = noisePicture({ widthPx, heightPx, kind, seed: 4, stars: 3, holes });
    for (const sites of Object.values(SITES)) {
      const want = blockAverage(picture, factor, sites);
      const got = inArena(kernels, () => {
        const plane = planeOf(kernels, picture);
        const out = kernels.arena.alloc(want.length * 4 + 4);
        kernels.arena.f32(out, want.length + 1)[want.length] = 42;
        const bin = kind === 'u16' ? kernels.run.binU16 : kernels.run.binF32;
        bin(plane.address, widthPx, heightPx, factor, sites, out);
        expect(kernels.arena.f32(out, want.length + 1)[want.length]).toBe(42);
        return kernels.arena.f32(out, want.length).slice();
      });
      // Sums of up to 25 values near 1000 in single precision.
      got.forEach((value, i) => {
        if (Number.isNaN(want[i])) expect(value).toBe(NaN);
        else expect(Math.abs(value - want[i])).toBeLessThan(1e-3);
      });
    }
  });
});

describe('adaptive moments', () => {
  const disc = (radius: number, value: (dx: number, dy: number) => number) => {
    const samples = [];
    for (let dy = -radius; dy <= radius; dy++)
      for (let dx = -radius; dx <= radius; dx++)
        if (dx * dx + dy * dy <= radius * radius) samples.push({ dx, dy, value: Math.fround(value(dx, dy)) });
    return samples;
  };
  const kernelMoments = (samples: ReturnType<typeof disc>, start: AdaptiveState, maxShift = 6, fast = 8) =>
    inArena(kernels, () => {
      const { run, arena } = kernels;
      const list = listOf(kernels, samples);
      const state = arena.alloc(40);
      arena.f64(state, 5).set([start.x, start.y, start.xx, start.yy, start.xy]);
      const rounds = run.adaptiveMoments(
        list.address,
        list.capacity,
        list.count,
        state,
        60,
        fast,
        14,
        maxShift,
      );
      const [x, y, xx, yy, xy] = arena.f64(state, 5);
      return rounds < 0 ? null : { x, y, xx, yy, xy };
    });
  const start: AdaptiveState = { x: 0, y: 0, xx: 4, yy: 4, xy: 0 };

  test('of an elliptical Gaussian are its own covariance: A 3, B 2, axis at 30 degrees', () => {
    // xx 7.75, yy 5.25, xy 2.165064 from A and B by the formulas of Bertin & Arnouts 1996 (A&AS 117, 393).
    const det = 7.75 * 5.25 - 2.165064 ** 2;
    const samples = disc(14, (dx, dy) => {
      const [u, v] = [dx - 0.31, dy + 0.22];
      return 1000 * Math.exp((-0.5 * (5.25 * u * u - 2 * 2.165064 * u * v + 7.75 * v * v)) / det);
    });
    const got = kernelMoments(samples, start)!;
    // The weight is cut at q = 20, the frame at 14 px; iteration stops within a thousandth.
    expect(got.x).toBeCloseTo(0.31, 2);
    expect(got.y).toBeCloseTo(-0.22, 2);
    expect(got.xx / 7.75).toBeCloseTo(1, 2);
    expect(got.yy / 5.25).toBeCloseTo(1, 2);
    expect(got.xy / 2.165064).toBeCloseTo(1, 2);
  });

  test.each([1, 2, 3, 4])(
    'of a noisy lopsided blob settle where the plain version does (seed %i)',
    (seed) => {
      const random = createRandom(seed);
      const samples = disc(
        11,
        (dx, dy) =>
          400 * Math.exp(-0.5 * ((dx - 0.4) ** 2 / 4 + dy ** 2 / 2)) +
          150 * Math.exp(-0.5 * ((dx - 3) ** 2 + (dy + 1) ** 2)) +
          4 * random.normal(),
      );
      const want = adaptiveMoments(samples, start)!;
      const sum = want.xx + want.yy;
      // The kernel stops when a step changes the moments by less than a thousandth of their sum; convergence by about a
      // half each step leaves as much again.
      for (const fast of [0, 8]) {
        const got = kernelMoments(samples, start, 6, fast)!;
        for (const key of ['xx', 'yy', 'xy'] as const)
          expect(Math.abs(got[key] - want[key]) / sum, key).toBeLessThan(3e-3);
        for (const key of ['x', 'y'] as const) expect(Math.abs(got[key] - want[key])).toBeLessThan(5e-3);
      }
    },
  );

  test('say so when they collapse, run away or wander off', () => {
    const random = createRandom(9);
    const needle = disc(8, (dx, dy) => (dx === 0 && dy === 0 ? 100 : 0));
    expect(kernelMoments(needle, start)).toBeNull();
    const negative = disc(8, () => -1 - random.uniform());
    expect(kernelMoments(negative, start)).toBeNull();
    const slope = disc(14, (dx) => Math.max(0, 20 + 3 * dx));
    expect(kernelMoments(slope, { ...start, xx: 2, yy: 2 }, 3)).toBeNull();
  });
});
