import { beforeAll, describe, expect, test } from 'vitest';
import { createRandom } from '../../workers/simulate/random.ts';
import type { Kernels } from '../../workers/wasm/kernels.ts';
import { quantum, skyMesh, type MeshWish } from '../oracle/mesh.ts';
import { noisePicture } from '../support/noise-pictures.ts';
import { inArena, planeOf, SITES, testKernels, type Picture } from '../support/planes.ts';

let kernels: Kernels;
beforeAll(async () => {
  kernels = await testKernels();
});

function kernelMesh(picture: Picture, wish: MeshWish) {
  const { run, arena } = kernels;
  return inArena(kernels, () => {
    const plane = planeOf(kernels, picture, { sites: wish.sites });
    const cells = wish.cols * wish.rows;
    const [levels, sigmas] = [arena.alloc(cells * 4 + 4), arena.alloc(cells * 4 + 4)];
    const scratch = arena.alloc(4096 + picture.pixels.length * 4);
    for (const guarded of [levels, sigmas]) arena.f32(guarded, cells + 1)[cells] = 42;
    const mesh = plane.kind === 'u16' ? run.meshU16 : run.meshF32;
    mesh(
      plane.address,
      plane.widthPx,
      plane.heightPx,
      wish.cols,
      wish.rows,
      wish.sites,
      wish.rowStep,
      wish.quantum,
      levels,
      sigmas,
      scratch,
    );
    for (const guarded of [levels, sigmas]) expect(arena.f32(guarded, cells + 1)[cells]).toBe(42);
    return { levels: arena.f32(levels, cells).slice(), sigmas: arena.f32(sigmas, cells).slice() };
  });
}

/** Both are f32 of the same float64 arithmetic, up to the order of sums: a few parts in 10^7 of the level. */
function expectSame(got: Float32Array, want: Float32Array) {
  got.forEach((value, i) => {
    if (Number.isNaN(want[i])) expect(value, `cell ${i}`).toBe(NaN);
    else expect(Math.abs(value - want[i]), `cell ${i}: ${value}, not ${want[i]}`).toBeLessThan(2e-4);
  });
}

const SIZES: [widthPx: number, heightPx: number, cols: number, rows: number][] = [
  [300, 200, 5, 3],
  [257, 131, 4, 2],
  [67, 5, 1, 1],
  [97, 1, 1, 1],
  [1, 97, 1, 1],
  [11, 3, 1, 1],
  [64, 64, 7, 9],
];

describe.each(['u16', 'f32'] as const)('sky mesh of %s pixels equals the plain version', (kind) => {
  test.each(SIZES)('%i x %i in %i x %i cells, all sites and mosaics', (widthPx, heightPx, cols, rows) => {
    const holes = kind === 'f32' ? Math.ceil(widthPx * heightPx * 0.02) : 0;
    const picture = noisePicture({ widthPx, heightPx, kind, seed: widthPx + rows, stars: 9, hot: 5, holes });
    for (const sites of Object.values(SITES))
      for (const rowStep of [1, 2]) {
        const wish = { cols, rows, sites, rowStep, quantum: kind === 'u16' ? 1 : 0 };
        const [got, want] = [kernelMesh(picture, wish), skyMesh(picture, wish)];
        expectSame(got.levels, want.levels);
        expectSame(got.sigmas, want.sigmas);
      }
  });
});

test('a constant cell has its value and no noise; one with hardly a pixel left is NaN', () => {
  const flat: Picture = { pixels: new Float32Array(64 * 32).fill(512.25), widthPx: 64, heightPx: 32 };
  const wish = { cols: 2, rows: 1, sites: SITES.all, rowStep: 1, quantum: 0 };
  flat.pixels.fill(NaN, 32, 64);
  for (let y = 0; y < 32; y++) flat.pixels.fill(NaN, y * 64 + 32, y * 64 + 63);
  const { levels, sigmas } = kernelMesh(flat, wish);
  expect([levels[0], sigmas[0]]).toEqual([512.25, 0]);
  // 32 rows of one pixel each, the first row without: 31, one fewer than are asked for.
  expect([levels[1], sigmas[1]]).toEqual([NaN, NaN]);
});

describe('against the truth of Gaussian noise', () => {
  // Standard errors over n = 16384 pixels, elementary: mean sigma / sqrt n; median a factor sqrt(pi/2) more, and the
  // mode 2.5 median - 1.5 mean about 2.2 times the mean's; standard deviation sigma / sqrt(2 n), clipped 10 % more.
  const n = 128 * 128;
  test.each([
    [3, 'f32'],
    [12, 'u16'],
    [700, 'u16'],
    [0.02, 'f32'],
  ] as const)('sigma %f in %s', (sigma, kind) => {
    const wish = { cols: 1, rows: 1, sites: SITES.all, rowStep: 1, quantum: kind === 'u16' ? 1 : 0 };
    const level = 5000;
    let [sum, squares] = [0, 0];
    const repeats = 12;
    for (let seed = 1; seed <= repeats; seed++) {
      const picture = noisePicture({
        widthPx: 128,
        heightPx: 128,
        kind,
        seed,
        level,
        sigma,
        riseX: 0,
        riseY: 0,
      });
      const got = kernelMesh(picture, wish);
      sum += (got.levels[0] - level) / sigma / repeats;
      squares += got.sigmas[0] / sigma / repeats;
    }
    expect(Math.abs(sum)).toBeLessThan((4 * 2.2) / Math.sqrt(n * repeats));
    expect(Math.abs(squares - 1)).toBeLessThan(4 * 1.1 * Math.sqrt(1 / (2 * n * repeats)));
  });

  test('a converter step wider than the noise does not make the level jump', () => {
    // 12-bit values spread over 16 bit: step 16, noise 10. The level must follow the true one to well within a step;
    // a pixel's noise holds that of the rounding, step^2 / 12 (Sheppard's correction).
    const noise = Math.sqrt(10 ** 2 + 16 ** 2 / 12);
    const random = createRandom(3);
    for (const level of [4000, 4004, 4008, 4012]) {
      const pixels = Uint16Array.from(
        { length: n },
        () => 16 * Math.round((level + 10 * random.normal()) / 16),
      );
      expect(quantum(pixels, 3)).toBe(16);
      const { levels, sigmas } = kernelMesh(
        { pixels, widthPx: 128, heightPx: 128 },
        { cols: 1, rows: 1, sites: SITES.all, rowStep: 1, quantum: 16 },
      );
      // The rounded distribution is level within a step; cut linearly its median is off by up to 0.06 sigma here,
      // which the mode 2.5 median - 1.5 mean makes 0.15.
      expect(Math.abs(levels[0] - level)).toBeLessThan(0.17 * noise);
      expect(Math.abs(sigmas[0] / noise - 1)).toBeLessThan(0.03);
    }
  });
});

test('the converter step is the greatest common divisor of the differences', () => {
  const random = createRandom(8);
  for (const step of [1, 2, 4, 16, 64]) {
    const values = Uint16Array.from({ length: 4001 }, () => 7 + step * random.integer(900));
    const got = inArena(kernels, () => {
      const address = kernels.arena.alloc(values.byteLength);
      kernels.arena.u16(address, values.length).set(values);
      return [1, 3, 11].map((stride) => kernels.run.quantumU16(address, values.length, stride));
    });
    expect(got).toEqual([1, 3, 11].map((stride) => quantum(values, stride)));
    expect(got[0]).toBe(step);
  }
  const constant = Uint16Array.from({ length: 50 }, () => 7);
  expect(quantum(constant, 1)).toBe(1);
});
