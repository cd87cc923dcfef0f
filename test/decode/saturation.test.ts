import { expect, test } from 'vitest';
import { saturationLevel } from '../../workers/decode/saturation.ts';
import { card, frameOf, header, imageCards, joined, padded, u16File } from './fits-file.ts';

/**
 * A sky of 1000 with Gaussian stars of the given peaks, clipped at `clip` and then multiplied by `step` (a converter of
 * fewer bits shifted up). The truth is `clip * step`, known by construction.
 */
function starField(clip: number, peaks: number[], step = 1): Uint16Array {
  const side = 128;
  const pixels = new Uint16Array(side * side);
  for (let y = 0; y < side; y++)
    for (let x = 0; x < side; x++) {
      let value = 100 + ((x * 7919 + y * 104729) % 17);
      peaks.forEach((peak, i) => {
        const [dx, dy] = [x - 15.3 - 24 * (i % 5), y - 14.6 - 24 * Math.floor(i / 5)];
        value += peak * Math.exp(-(dx * dx + dy * dy) / (2 * 2 ** 2));
      });
      pixels[y * side + x] = Math.min(clip, Math.round(value)) * step;
    }
  return pixels;
}
const PEAKS = Array.from({ length: 25 }, (_, i) => 30 * 1.25 ** i);
const saturationOf = async (pixels: Uint16Array, ...cards: string[]) =>
  (await frameOf(u16File(128, 128, pixels, cards))).saturationStored;

test.each([
  ['12 bit as it is', 4095, 1],
  ['14 bit as it is', 16383, 1],
  ['12 bit shifted up', 4095, 16],
  ['14 bit shifted up', 16383, 4],
  ['16 bit', 65535, 1],
  ['a full well below the converter', 3000, 1],
])('%s', async (_, clip, step) => {
  const scale = clip / 3000;
  const peaks = PEAKS.map((peak) => peak * scale * 0.8);
  expect(await saturationOf(starField(clip, peaks, step))).toBe(clip * step);
});

test('no star clipped: the limit of the type', async () => {
  expect(await saturationOf(starField(60000, PEAKS))).toBe(65535);
});

test('a constant picture is not taken as clipped', async () => {
  expect(await saturationOf(new Uint16Array(128 * 128).fill(1890))).toBe(65535);
});

test('SATURATE lowers the level, a silly one is told of', async () => {
  const pixels = starField(60000, PEAKS);
  expect(await saturationOf(pixels, card('SATURATE', 2500))).toBe(2500);
  expect(await saturationOf(pixels, card('SATURATE', 1e6))).toBe(65535);
  const frame = await frameOf(u16File(128, 128, pixels, [card('SATURATE', 1)]));
  expect(frame.saturationStored).toBe(65535);
  expect(frame.warnings.join()).toMatch(/SATURATE is 1 /);
});

test('signed 16 bit: SATURATE in ADU is turned into stored numbers', async () => {
  const data = new Uint8Array(64 * 64 * 2);
  new DataView(data.buffer).setInt16(100, 20000);
  const frame = await frameOf(
    joined(header([...imageCards(16, [64, 64]), card('SATURATE', 15000)]), padded(data)),
  );
  expect(frame.saturationStored).toBe(15000 + 32768);
});

test.each([
  ['in thirds of an ADU', 3],
  ['from 0 to 1', 3000],
])('floats %s: clipped pixels show, else nothing is known', async (_, divisor) => {
  const field = (pixels: Uint16Array) => {
    const data = new Uint8Array(128 * 128 * 4);
    const view = new DataView(data.buffer);
    pixels.forEach((value, i) => view.setFloat32(4 * i, value / divisor));
    return joined(header(imageCards(-32, [128, 128])), padded(data));
  };
  expect((await frameOf(field(starField(3000, PEAKS)))).saturationStored).toBe(3000 / divisor);
  expect((await frameOf(field(starField(60000, PEAKS)))).saturationStored).toBe(Infinity);
});

test('a few counts per pixel are not taken as clipped', async () => {
  // Poisson-like: each further count is ten times rarer, so several pixels share the largest.
  const counts = new Uint16Array(128 * 128).map((_, i) =>
    i % 1000 === 7 ? 3 : i % 100 === 7 ? 2 : i % 10 === 7 ? 1 : 0,
  );
  expect(await saturationOf(counts)).toBe(65535);
});

test('the rule by itself: enough pixels, few of all, more than just below', () => {
  const top = { maximum: 5000, atMaximum: 10, justBelow: 3, count: 10_000, maximumAdu: 5000, ceiling: 65535 };
  expect(saturationLevel(top)).toBe(5000);
  expect(saturationLevel({ ...top, atMaximum: 4 })).toBe(65535);
  expect(saturationLevel({ ...top, justBelow: 10 })).toBe(65535);
  expect(saturationLevel({ ...top, atMaximum: 600 })).toBe(65535);
  expect(saturationLevel({ ...top, atMaximum: 1, maximumAdu: 16383 })).toBe(5000);
  expect(saturationLevel({ ...top, atMaximum: 1, ceiling: null })).toBe(Infinity);
});
