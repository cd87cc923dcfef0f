import { expect, test } from 'vitest';
import type { StarUnderModel } from '../../workers/protocol/model.ts';
import { modelledLook } from '../../src/stars/star-look.ts';

/** Each pixel of the frame holds a number of its own, so that a shifted window shows. */
const named = (xPx: number, yPx: number) => 100 * yPx + xPx;
const windowOf = (originXPx: number, originYPx: number, sidePx: number, times: number) =>
  Float32Array.from(
    { length: sidePx * sidePx },
    (_, i) => times * named(originXPx + (i % sidePx), originYPx + Math.floor(i / sidePx)),
  );
const under = (originXPx: number, originYPx: number, sidePx: number): StarUnderModel => ({
  sidePx,
  originXPx,
  originYPx,
  electrons: windowOf(originXPx, originYPx, sidePx, 2),
  model: windowOf(originXPx, originYPx, sidePx, 3),
  pulls: windowOf(originXPx, originYPx, sidePx, 4),
  xPx: 0,
  yPx: 0,
  flux: { value: 1, sigma: 1 },
  background: { value: 0, sigma: 1 },
  skySigma: 1,
  chi2PerDof: 1,
  pixels: 1,
});

test.each([
  [9, 5],
  [5, 9],
])('a cut-out of %i and a stamp of %i pixels show the same pixels, star in the middle', (cut, stamp) => {
  const [x, y] = [40, 30];
  const from = (side: number) => [x - (side - 1) / 2, y - (side - 1) / 2] as const;
  const [cutX, cutY] = from(cut);
  const look = modelledLook(
    { originXPx: cutX, originYPx: cutY, sidePx: cut, valuesAdu: windowOf(cutX, cutY, cut, 1) },
    under(...from(stamp), stamp),
  );
  expect([look.sidePx, look.originXPx, look.originYPx]).toEqual([5, 38, 28]);
  for (let i = 0; i < 25; i++) {
    const name = named(38 + (i % 5), 28 + Math.floor(i / 5));
    expect([look.light[i], look.model![i], look.pulls![i]]).toEqual([2 * name, 3 * name, 4 * name]);
  }
});

test('beyond the border of the frame there is no light', () => {
  const valuesAdu = windowOf(-1, 0, 3, 1);
  for (const i of [0, 3, 6]) valuesAdu[i] = NaN;
  const look = modelledLook({ originXPx: -1, originYPx: 0, sidePx: 3, valuesAdu }, under(-1, 0, 3));
  expect(Array.from(look.light, Number.isNaN).filter(Boolean).length).toBe(3);
});
