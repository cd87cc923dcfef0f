import { expect, test } from 'vitest';
import {
  aduOnRoad,
  histogramOn,
  lightOf,
  openingStretch,
  positionOnRoad,
  roadOf,
} from '../../src/viewer/stretch.ts';
import type { FrameView, Tile } from '../../workers/protocol/api.ts';

const view: FrameView = {
  tilePx: 256,
  levels: [{ widthPx: 10, heightPx: 10 }],
  channels: 1,
  blackAdu: 960,
  skyAdu: 1000,
  noiseAdu: 20,
  whiteAdu: 20_000,
};

test('black is dark, white is light, and between them light grows as asinh says', () => {
  const stretch = openingStretch(view);
  expect(lightOf(stretch.blackAdu - 500, stretch)).toBe(0);
  expect(lightOf(stretch.blackAdu, stretch)).toBe(0);
  expect(lightOf(stretch.whiteAdu, stretch)).toBe(1);
  expect(lightOf(65535, stretch)).toBe(1);
  // asinh(x) = ln(x + sqrt(x^2 + 1)) (Abramowitz & Stegun 4.6.20), knee at 80 ADU above black.
  const asinh = (x: number) => Math.log(x + Math.sqrt(x * x + 1));
  expect(lightOf(1040, stretch)).toBeCloseTo(asinh(80 / 80) / asinh(19_040 / 80), 12);
});

test('the road of the handles leads from ADU to a place and back', () => {
  const road = roadOf(view);
  for (const adu of [road.lowAdu, 960, 1000, 1500, 20_000, road.highAdu])
    expect(aduOnRoad(positionOnRoad(adu, road), road)).toBeCloseTo(adu, 6);
  expect(positionOnRoad(road.lowAdu, road)).toBe(0);
  expect(positionOnRoad(road.highAdu, road)).toBe(1);
});

test('the histogram puts the sky where the handle of the sky would stand', () => {
  const road = roadOf(view);
  const values = new Uint16Array(100).fill(1000);
  values[0] = 15_000;
  const tile: Tile = {
    level: 0,
    col: 0,
    row: 0,
    widthPx: 10,
    heightPx: 10,
    channels: 1,
    values,
    lowAdu: 0,
    highAdu: 65535,
  };
  const bins = histogramOn(road, tile, 50);
  expect(bins[Math.floor(50 * positionOnRoad(1000, road))]).toBe(1);
  expect(bins[Math.floor(50 * positionOnRoad(15_000, road))]).toBeCloseTo(1 / 99, 9);
  expect(bins.filter((n) => n > 0)).toHaveLength(2);
});
