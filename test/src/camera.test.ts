import { fc } from './property.ts';
import { expect, test } from 'vitest';
import {
  clampCamera,
  fitCamera,
  levelFor,
  tileBounds,
  toFrame,
  toScreen,
  visibleTiles,
  zoomAbout,
} from '../../src/viewer/camera.ts';
import type { FrameView } from '../../workers/protocol/api.ts';

const frame = { width: 1801, height: 1201 };
const view: FrameView = {
  tilePx: 256,
  levels: [0, 1, 2, 3].map((level) => ({
    widthPx: Math.ceil(frame.width / 2 ** level),
    heightPx: Math.ceil(frame.height / 2 ** level),
  })),
  channels: 1,
  blackAdu: 0,
  skyAdu: 0,
  noiseAdu: 1,
  whiteAdu: 1,
};
const windows = fc.record({
  width: fc.integer({ min: 200, max: 2000 }),
  height: fc.integer({ min: 200, max: 1500 }),
});
const cameras = fc.record({
  xPx: fc.double({ min: 0, max: 1800, noNaN: true }),
  yPx: fc.double({ min: 0, max: 1200, noNaN: true }),
  zoom: fc.double({ min: 0.1, max: 40, noNaN: true }),
});

test('seen whole, the first pixel begins at the border of the picture and the last ends there', () => {
  const window = { width: 900.5, height: 800 };
  const camera = fitCamera(frame, window);
  // Pixel i covers i - 0.5 to i + 0.5 (convention of the report).
  expect(toScreen(camera, window, -0.5, 0)[0]).toBeCloseTo(0, 9);
  expect(toScreen(camera, window, 1800.5, 0)[0]).toBeCloseTo(900.5, 9);
});

test('window to frame and back is the identity; zooming keeps the point under the finger', () => {
  fc.assert(
    fc.property(cameras, windows, fc.double({ min: 0.2, max: 5, noNaN: true }), (camera, window, factor) => {
      const [x, y] = [window.width * 0.3, window.height * 0.8];
      const [xPx, yPx] = toFrame(camera, window, x, y);
      const [sx, sy] = toScreen(camera, window, xPx, yPx);
      expect(sx).toBeCloseTo(x, 6);
      expect(sy).toBeCloseTo(y, 6);
      const [zx, zy] = toFrame(zoomAbout(camera, window, x, y, factor), window, x, y);
      expect(zx).toBeCloseTo(xPx, 6);
      expect(zy).toBeCloseTo(yPx, 6);
    }),
  );
});

test('a clamped camera never looks beside the frame where the frame is larger than the window', () => {
  fc.assert(
    fc.property(cameras, windows, (wild, window) => {
      const camera = clampCamera(wild, frame, window);
      const [left, top] = toFrame(camera, window, 0, 0);
      const [right, bottom] = toFrame(camera, window, window.width, window.height);
      if (right - left < frame.width) {
        expect(left).toBeGreaterThanOrEqual(-0.5 - 1e-9);
        expect(right).toBeLessThanOrEqual(frame.width - 0.5 + 1e-9);
      }
      if (bottom - top < frame.height) expect(top).toBeGreaterThanOrEqual(-0.5 - 1e-9);
    }),
  );
});

test('the visible tiles cover every point of the window that lies on the frame', () => {
  fc.assert(
    fc.property(cameras, windows, fc.integer({ min: 0, max: 3 }), (wild, window, level) => {
      const camera = clampCamera(wild, frame, window);
      const tiles = visibleTiles(view, camera, window, level).map((tile) => tileBounds(view, tile));
      for (const u of [0.001, 0.37, 0.999])
        for (const v of [0.001, 0.51, 0.999]) {
          const [x, y] = toFrame(camera, window, u * window.width, v * window.height);
          const onFrame = x >= -0.5 && y >= -0.5 && x < frame.width - 0.5 && y < frame.height - 0.5;
          if (onFrame) expect(tiles.some(([l, t, r, b]) => x >= l && x < r && y >= t && y < b)).toBe(true);
        }
    }),
  );
});

test('the level gives each device pixel a sample of its own, and no finer one than needed', () => {
  expect([2, 1, 0.6, 0.5, 0.26, 0.25, 0.01].map((zoom) => levelFor(view, zoom, 1))).toEqual([
    0, 0, 0, 1, 1, 2, 3,
  ]);
  expect(levelFor(view, 0.5, 2)).toBe(0);
});
