import { expect, test } from 'vitest';
import { profilePoints, runningMedian } from '../../src/charts/radial-profile.ts';
import { filledPixels, measuredPixels } from '../../src/viewer/mosaic-cutout.ts';

test('a round star lies on one line whatever the direction, and half of its height at half of its width', () => {
  const [side, sigma, cx, cy] = [41, 3, 20.3, 19.8];
  const values = Float32Array.from({ length: side * side }, (_, i) => {
    const r2 = ((i % side) - cx) ** 2 + (Math.floor(i / side) - cy) ** 2;
    return 500 + 1000 * Math.exp(-r2 / (2 * sigma * sigma));
  });
  const points = profilePoints(values, side, cx, cy, 500, 15);
  expect(Math.max(...points.map((p) => p.radiusPx))).toBeLessThanOrEqual(15);
  const top = points.find((p) => p.height === 1)!;
  // Float32 keeps 3e-5 of 500 + 1000 ADU.
  for (const { radiusPx, height } of points)
    expect(height).toBeCloseTo(Math.exp((top.radiusPx ** 2 - radiusPx ** 2) / (2 * sigma * sigma)), 5);
  // A Gaussian's half width at half height is sqrt(2 ln 2) sigma (textbook): 3.53 px here.
  const around = runningMedian(points, 15).filter((p) => Math.abs(p.radiusPx - 3.53) < 0.4);
  expect(around.some((p) => p.height > 0.5)).toBe(true);
  expect(around.some((p) => p.height < 0.5)).toBe(true);
});

test('of a mosaic only green pixels count, wherever the cut-out begins', () => {
  const cut = (originXPx: number, originYPx: number) =>
    measuredPixels({ originXPx, originYPx, sidePx: 2, valuesAdu: Float32Array.of(1, 2, 3, 4) }, 'RGGB');
  expect([...cut(0, 0)]).toEqual([NaN, 2, 3, NaN]);
  expect([...cut(1, 0)]).toEqual([1, NaN, NaN, 4]);
  expect([...cut(7, 3)]).toEqual([NaN, 2, 3, NaN]);
  expect([...filledPixels(cut(0, 0), 2)]).toEqual([2.5, 2, 3, 2.5]);
});
