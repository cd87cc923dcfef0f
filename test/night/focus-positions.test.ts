import { expect, test } from 'vitest';
import type { RunPoint } from '../../workers/protocol/run.ts';
import { typedNumber } from '../../src/format/typed-number.ts';
import { evenly, placedFrames } from '../../src/night/focus-positions.ts';

const points = (positions: (number | null)[]) =>
  positions.map((focusPosition, i) => ({
    key: `k${i}`,
    timeMs: i,
    hfdPx: null,
    focusPosition,
  })) as RunPoint[];
const names = (count: number) => Array.from({ length: count }, (_, i) => `f${i}`);

test('evenly spaced positions carry no dust of binary fractions', () => {
  const frames = names(4).map((key) => ({ key }));
  // 0.1 + 2 × 0.1 is 0.30000000000000004 in binary.
  expect(Object.values(evenly(frames, 0.1, 0.1))).toEqual([0.1, 0.2, 0.3, 0.4]);
  expect(Object.values(evenly(frames, 5, -2.5))).toEqual([5, 2.5, 0, -2.5]);
});

test('positions are asked for where a file is silent and the run is short; what was typed always shows', () => {
  const asked = (positions: (number | null)[], told: Record<string, number> = {}) =>
    placedFrames(points(positions), names(positions.length), told).length;
  expect(asked([1, 2, 3])).toBe(0);
  expect(asked([1, null, 3])).toBe(3);
  expect(asked([null, null])).toBe(0);
  expect(asked(new Array<null>(61).fill(null))).toBe(0);
  expect(asked([1, 2, 3], { k1: 9 })).toBe(3);
});

test('numbers are read as hands type them', () => {
  expect([typedNumber(' 1,5 '), typedNumber('−2'), typedNumber(''), typedNumber('0')]).toEqual([
    1.5,
    -2,
    null,
    0,
  ]);
  expect(typedNumber('two')).toBeNaN();
  expect(typedNumber('1e999')).toBeNaN();
});
