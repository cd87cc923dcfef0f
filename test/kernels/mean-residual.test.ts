import { beforeAll, describe, expect, test } from 'vitest';
import { createRandom } from '../../workers/simulate/random.ts';
import type { Kernels } from '../../workers/wasm/kernels.ts';
import { meanAt, spread, type ResidualRecord } from '../oracle/mean-residual.ts';
import { listOf } from '../support/pixel-list.ts';
import { inArena, testKernels } from '../support/planes.ts';

let kernels: Kernels;
beforeAll(async () => {
  kernels = await testKernels();
});

const MIDDLE = 9;
const SIDE = 2 * MIDDLE + 1;
const STEPS = 4;
const RECORD_BYTES = 20;

/** Pixels of one star, inside, on the border of and beyond the grid: whole pixels apart. */
function records(count: number, seed: number): ResidualRecord[] {
  const random = createRandom(seed);
  const f32 = Math.fround;
  const [x, y] = [random.integer(1024) / 1024, random.integer(1024) / 1024]; // such as f32 holds exactly
  return Array.from({ length: count }, () => ({
    dx: f32(random.integer(9) - 4 - x),
    dy: f32(random.integer(9) - 4 - y),
    value: f32(0.01 * random.normal()),
    variance: f32(1e-4 * (1 + random.uniform())),
    weight: f32(100 * (1 + random.uniform())),
  }));
}

function kernelLay(stars: ResidualRecord[][], discPx: number) {
  return inArena(kernels, () => {
    const { run, arena } = kernels;
    const lists = stars.map((list) => {
      const address = arena.alloc(list.length * RECORD_BYTES);
      arena
        .f32(address, list.length * 5)
        .set(list.flatMap(({ dx, dy, value, variance, weight }) => [dx, dy, value, variance, weight]));
      return { address, count: list.length };
    });
    const grids = [0, 1, 2, 3].map(() => arena.alloc((SIDE * SIDE + 1) * 8));
    for (const grid of grids) arena.f64(grid, SIDE * SIDE + 1).fill(0)[SIDE * SIDE] = 42;
    const [sum, weight, mean, rest] = grids;
    for (const { address, count } of lists)
      run.layResiduals(address, count, MIDDLE, STEPS, discPx, sum, weight);
    const [sums, weights] = [sum, weight].map((grid) => arena.f64(grid, SIDE * SIDE));
    arena.f64(mean, SIDE * SIDE).set(weights.map((total, i) => (total > 0 ? sums[i] / total : 0)));
    for (const { address, count } of lists) run.layRest(address, count, MIDDLE, STEPS, discPx, mean, rest);
    for (const grid of grids) expect(arena.f64(grid, SIDE * SIDE + 1)[SIDE * SIDE]).toBe(42);
    const noise = (x: number, y: number) =>
      lists.reduce((total, { address, count }) => total + run.residualNoise(address, count, x, y, discPx), 0);
    return {
      grids: grids.map((grid) => arena.f64(grid, SIDE * SIDE).slice()),
      noise: [noise(0, 0), noise(1.25, -0.5)],
    };
  });
}

describe('residuals laid over each other', () => {
  test.each([0.3, 0.7, 1.5, 2.6])('equal the plain version with discs of %f px', (discPx) => {
    const stars = [records(60, 3), records(25, 4), records(1, 5), []];
    const list = stars.flat();
    const { grids, noise } = kernelLay(stars, discPx);
    const [sum, weight, , rest] = grids;
    const grid = { middle: MIDDLE, steps: STEPS, discPx };
    const want = { sum: spread(list, grid, (r, share) => share * r.value) };
    const total = spread(list, grid, (_, share) => share);
    const scatter = spread(list, grid, (r, share) => share ** 2 * r.variance);
    const left = spread(
      list,
      grid,
      (r, share) => share * (r.value - meanAt(want.sum, total, grid, r.dx, r.dy)),
    );
    // The same sums in the same precision: rounding.
    for (let i = 0; i < SIDE * SIDE; i++) {
      expect(Math.abs(sum[i] - want.sum[i])).toBeLessThan(1e-10);
      expect(Math.abs(weight[i] - total[i])).toBeLessThan(1e-9);
      expect(Math.abs(rest[i] - left[i])).toBeLessThan(1e-10);
    }
    const at = (x: number, y: number) => (y * STEPS + MIDDLE) * SIDE + x * STEPS + MIDDLE;
    expect(Math.abs(noise[0] - scatter[at(0, 0)])).toBeLessThan(1e-10);
    expect(Math.abs(noise[1] - scatter[at(1.25, -0.5)])).toBeLessThan(1e-10);
  });

  test('come from the pixels of a list, in units of the flux', () => {
    const random = createRandom(5);
    const samples = Array.from({ length: 49 }, (_, i) => ({
      dx: (i % 7) - 3,
      dy: Math.floor(i / 7) - 3,
      value: Math.fround(100 + 50 * random.normal()),
    }));
    const [flux, skyVariance, perElectron, weight, kept] = [2500, 90, 1.5, 7, 2.4];
    const params = [1, 80, 0.25, -0.5, 1, 1, 0];
    const got = inArena(kernels, () => {
      const { run, arena } = kernels;
      const list = listOf(kernels, samples);
      // Residuals are what subtractProfile leaves in the fifth array; here any numbers.
      const residuals = arena.f32(list.address + 4 * list.capacity * 4, list.capacity);
      samples.forEach(({ value }, i) => (residuals[i] = value / 10));
      const [address, out] = [arena.alloc(56), arena.alloc(49 * RECORD_BYTES + 4)];
      arena.f64(address, 7).set(params);
      const { capacity, count } = list;
      const n = run.packResiduals(
        list.address,
        capacity,
        count,
        address,
        kept,
        flux,
        skyVariance,
        perElectron,
        weight,
        out,
      );
      return Array.from({ length: n }, (_, i) => [...arena.f32(out + i * RECORD_BYTES, 5)]);
    });
    const want = samples
      .map(({ dx, dy, value }) => ({ dx: dx - 0.25, dy: dy + 0.5, value }))
      .filter(({ dx, dy }) => Math.max(Math.abs(dx), Math.abs(dy)) <= kept)
      .map(({ dx, dy, value }) => [
        dx,
        dy,
        Math.fround(value / 10) / flux,
        (skyVariance + perElectron * Math.max(value - 80, 0)) / flux ** 2,
        weight,
      ]);
    expect(got.length).toBe(want.length);
    got.forEach((record, i) =>
      record.forEach((value, j) =>
        expect(Math.abs(value - want[i][j])).toBeLessThanOrEqual(1e-6 * Math.abs(want[i][j])),
      ),
    );
  });
});
