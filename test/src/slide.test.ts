import { expect, test } from 'vitest';
import { toScreen, type Camera } from '../../src/viewer/camera.ts';
import { marginOf, slideTo } from '../../src/viewer/slide.ts';

const WINDOW = { width: 800, height: 500 };
const at = (xPx: number, yPx: number, zoom = 2): Camera => ({ xPx, yPx, zoom });

test('moved by the slide, each place of the frame stands where drawing anew would put it', () => {
  const [drawn, wanted] = [at(1000, 700), at(1017, 688.5)];
  const slide = slideTo(drawn, wanted, 100, 1)!;
  for (const [x, y] of [
    [1000, 700],
    [1100, 650],
  ] as const) {
    const before = toScreen(drawn, WINDOW, x, y);
    const after = toScreen(wanted, WINDOW, x, y);
    expect(before[0] + slide.x).toBeCloseTo(after[0], 9);
    expect(before[1] + slide.y).toBeCloseTo(after[1], 9);
  }
});

test('whole device pixels only, so that the picture stays sharp', () => {
  const slide = slideTo(at(0, 0, 0.37), at(11, -7, 0.37), 100, 1.5)!;
  expect((slide.x * 1.5) % 1).toBeCloseTo(0, 9);
  expect((slide.y * 1.5) % 1).toBeCloseTo(0, 9);
  // Half a device pixel is the most that rounding may take.
  expect(Math.abs(slide.x + 11 * 0.37)).toBeLessThanOrEqual(0.5 / 1.5 + 1e-9);
});

test('another zoom, or beyond the margin, is drawn anew', () => {
  expect(slideTo(at(0, 0), at(0, 0, 2.1), 100, 1)).toBeNull();
  expect(slideTo(at(0, 0), at(50, 0), 100, 1)).not.toBeNull();
  expect(slideTo(at(0, 0), at(50.5, 0), 100, 1)).toBeNull();
  expect(slideTo(at(0, 0), at(0, -51), 100, 1)).toBeNull();
});

test('a phone holds a smaller margin than a desk', () => {
  expect(marginOf({ width: 360, height: 256 })).toBe(51);
  expect(marginOf({ width: 1600, height: 900 })).toBe(160);
});
