import { expect, test } from 'vitest';
import { cutAlong, planeSlope } from '../../src/charts/focus-section.ts';
import { headingWords } from '../../src/format/words.ts';
import { gridNodes } from '../../src/panels/sensor-grid.ts';

const SENSOR = { widthPx: 1200, heightPx: 800 };

test('the slope of a plane is found, and a bowl about the middle does not change it', () => {
  const { places } = gridNodes(SENSOR, 21);
  const values = places.map(
    ({ xPx, yPx }) => 3 + 0.02 * xPx - 0.05 * yPx + 1e-4 * ((xPx - 599.5) ** 2 + (yPx - 399.5) ** 2),
  );
  const { perPxX, perPxY } = planeSlope(places, values);
  // A bowl is even about the middle and so has no slope over a grid that is even too: only rounding remains.
  expect(perPxX).toBeCloseTo(0.02, 10);
  expect(perPxY).toBeCloseTo(-0.05, 10);
});

test('a cut runs through the middle to the border, whichever way', () => {
  for (const angleDeg of [0, 20, 45, 90, 135, -60, 180]) {
    const [dx, dy] = [Math.cos((angleDeg * Math.PI) / 180), Math.sin((angleDeg * Math.PI) / 180)];
    const { fromX, fromY, toX, toY } = cutAlong(SENSOR, dx, dy);
    expect((fromX + toX) / 2).toBeCloseTo(599.5, 9);
    expect((fromY + toY) / 2).toBeCloseTo(399.5, 9);
    // B lies in the direction that was asked for, on the border: half a pixel beyond the outer pixels' middles.
    expect((toX - fromX) * dy - (toY - fromY) * dx).toBeCloseTo(0, 6);
    expect((toX - fromX) * dx + (toY - fromY) * dy).toBeGreaterThan(0);
    const beyond = Math.max(Math.abs(toX - 599.5) / 600, Math.abs(toY - 399.5) / 400);
    expect(beyond).toBeCloseTo(1, 9);
  }
});

test('a direction in words, y running down', () => {
  expect(headingWords(0)).toBe('the right');
  expect(headingWords(44)).toBe('the bottom right');
  expect(headingWords(90)).toBe('the bottom');
  expect(headingWords(-90)).toBe('the top');
  expect(headingWords(-135)).toBe('the top left');
  expect(headingWords(179)).toBe('the left');
});
