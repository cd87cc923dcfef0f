import { beforeAll, describe, expect, test } from 'vitest';
import type { Frame, Mosaic } from '../../workers/protocol/frame.ts';
import { createRandom } from '../../workers/simulate/random.ts';
import { cutoutOf, pyramidLevels, renderTile, TILE_PX } from '../../workers/view/pyramid.ts';
import type { Kernels } from '../../workers/wasm/kernels.ts';
import { testKernels } from '../support/planes.ts';

let kernels: Kernels;
beforeAll(async () => {
  kernels = await testKernels();
});

const RGGB: Mosaic = { pattern: ['R', 'G', 'G', 'B'] };

function frameOf(
  pixels: Uint16Array | Float32Array,
  widthPx: number,
  heightPx: number,
  more: Partial<Frame> = {},
): Frame {
  const kind = pixels instanceof Uint16Array ? 'u16' : 'f32';
  const address = kernels.arena.alloc(pixels.byteLength);
  kernels.arena[kind](address, pixels.length).set(pixels);
  return {
    meta: { format: 'FITS' } as Frame['meta'],
    widthPx,
    heightPx,
    pixels: { kind, address },
    planes: 1,
    scale: 1,
    zero: 0,
    saturationStored: Infinity,
    mosaic: null,
    warnings: [],
    ...more,
  };
}

const noise = (count: number, seed = 1) => {
  const random = createRandom(seed);
  return Uint16Array.from({ length: count }, () => random.integer(65536));
};

describe('levels', () => {
  test('halve until one tile holds all', () => {
    expect(pyramidLevels(1000, 301)).toEqual([
      { widthPx: 1000, heightPx: 301 },
      { widthPx: 500, heightPx: 151 },
      { widthPx: 250, heightPx: 76 },
    ]);
    expect(pyramidLevels(TILE_PX, TILE_PX)).toHaveLength(1);
  });
});

describe('tiles', () => {
  const [w, h] = [601, 403];

  test('level 0 is the pixels themselves, tile by tile, the last ones cut', () => {
    const pixels = noise(w * h);
    const frame = frameOf(pixels, w, h);
    for (const [col, row, width, height] of [
      [0, 0, 256, 256],
      [2, 0, 89, 256],
      [1, 1, 256, 147],
      [2, 1, 89, 147],
    ]) {
      const tile = renderTile(frame, kernels.arena, null, 0, 65535, { level: 0, col, row });
      expect([tile.widthPx, tile.heightPx, tile.channels]).toEqual([width, height, 1]);
      for (let j = 0; j < height; j++)
        for (let i = 0; i < width; i++)
          if (tile.values[j * width + i] !== pixels[(row * 256 + j) * w + col * 256 + i])
            throw new Error(`tile ${col} ${row} differs at ${i}, ${j}`);
    }
  });

  test('further levels are block averages, the borders of what is there', () => {
    const pixels = noise(w * h, 2);
    const frame = frameOf(pixels, w, h);
    for (const level of [1, 2]) {
      const block = 2 ** level;
      const tile = renderTile(frame, kernels.arena, null, 0, 65535, { level, col: 1, row: 0 });
      if (level === 2) expect(tile.widthPx).toBe(0); // 151 samples wide: one tile
      for (let j = 0; j < tile.heightPx; j++)
        for (let i = 0; i < tile.widthPx; i++) {
          let [sum, count] = [0, 0];
          for (let y = j * block; y < Math.min(h, (j + 1) * block); y++)
            for (let x = (256 + i) * block; x < Math.min(w, (256 + i + 1) * block); x++) {
              sum += pixels[y * w + x];
              count++;
            }
          if (Math.abs(tile.values[j * tile.widthPx + i] - sum / count) > 1)
            throw new Error(`level ${level} differs at ${i}, ${j}`);
        }
    }
  });

  test('low and high are black and white, and told in ADU', () => {
    const frame = frameOf(Float32Array.of(-5, 10, 20, 30, NaN, 1e9), 6, 1, { scale: 2, zero: 100 });
    const tile = renderTile(frame, kernels.arena, null, 10, 30, { level: 0, col: 0, row: 0 });
    expect([...tile.values]).toEqual([0, 0, 32767, 65535, 0, 65535]);
    expect([tile.lowAdu, tile.highAdu]).toEqual([120, 160]);
  });

  test.each([0, 1, 2])(
    'a mosaic of even light with its own sky in each colour is grey on level %i',
    (level) => {
      const sky = { R: 3000, G: 5000, B: 2000 };
      const pixels = Uint16Array.from({ length: 64 * 64 }, (_, i) => {
        const colour = RGGB.pattern[(i & 1) + 2 * (Math.floor(i / 64) & 1)];
        return sky[colour] + 700;
      });
      const frame = frameOf(pixels, 64, 64, { mosaic: RGGB });
      const tile = renderTile(frame, kernels.arena, sky, 0, 65535, { level, col: 0, row: 0 });
      expect(tile.channels).toBe(3);
      expect(tile.values).toHaveLength(3 * (64 / 2 ** level) ** 2);
      expect([...new Set(tile.values)]).toEqual([5700]);
    },
  );

  test('a red point of a mosaic is red, not blue', () => {
    const pixels = new Uint16Array(16 * 16).fill(1000);
    pixels[8 * 16 + 8] = 50_000; // even row, even column: R
    const sky = { R: 1000, G: 1000, B: 1000 };
    const frame = frameOf(pixels, 16, 16, { mosaic: RGGB });
    const { values } = renderTile(frame, kernels.arena, sky, 0, 65535, { level: 1, col: 0, row: 0 });
    const at = (4 * 8 + 4) * 3;
    expect([...values.slice(at, at + 3)]).toEqual([50_000, 1000, 1000]);
  });

  test('a colour picture keeps its planes', () => {
    const pixels = Uint16Array.from({ length: 3 * 40 }, (_, i) => 1000 * (1 + Math.floor(i / 40)));
    const frame = frameOf(pixels, 8, 5, { planes: 3 });
    const even = { R: 0, G: 0, B: 0 };
    const { values } = renderTile(frame, kernels.arena, even, 0, 65535, { level: 0, col: 0, row: 0 });
    expect([...values.slice(0, 3)]).toEqual([1000, 2000, 3000]);
  });
});

test('a cut-out is the pixels about a place in ADU, NaN beyond the frame', () => {
  const pixels = noise(30 * 20, 3);
  const frame = frameOf(pixels, 30, 20, { scale: 0.5, zero: 10 });
  const { originXPx, originYPx, sidePx, valuesAdu } = cutoutOf(frame, kernels.arena, 1.4, 18.6, 9);
  expect([originXPx, originYPx, sidePx]).toEqual([-3, 15, 9]);
  valuesAdu.forEach((value, k) => {
    const x = originXPx + (k % 9);
    const y = originYPx + Math.floor(k / 9);
    const inside = x >= 0 && y >= 0 && x < 30 && y < 20;
    expect(value).toEqual(inside ? 10 + 0.5 * pixels[y * 30 + x] : NaN);
  });
});
