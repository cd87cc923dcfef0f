import { expect, test } from 'vitest';
import { normalCdf } from '../../workers/math/normal.ts';
import { aboveLimit, fromGap } from '../../workers/verdict/confidence.ts';
import { wilson } from '../../bench/field/tables.ts';

test('the normal distribution (Abramowitz & Stegun, table 26.1)', () => {
  for (const [x, p] of [
    [0, 0.5],
    [1, 0.8413447],
    [1.96, 0.9750021],
    [-2.5, 0.0062097],
  ])
    expect(Math.abs(normalCdf(x) - p)).toBeLessThan(1e-6);
});

test('a larger gap to the best rival is more confidence, none at all is little', () => {
  const gaps = [0, 5, 10, 20, 40, 100, 1000];
  const confidences = gaps.map(fromGap);
  for (let i = 1; i < gaps.length; i++) expect(confidences[i]).toBeGreaterThan(confidences[i - 1]);
  expect(confidences[0]).toBeLessThan(0.2);
  expect(confidences.at(-1)!).toBeGreaterThan(0.95);
});

test('an amount at its limit is an even bet, twice the limit nearly sure', () => {
  expect(aboveLimit(1, 1)).toBeCloseTo(0.5, 6);
  expect(aboveLimit(2, 1)).toBeGreaterThan(0.95);
  expect(aboveLimit(0.5, 1)).toBeLessThan(0.05);
});

test('Wilson interval of 9 of 10 (Wilson 1927, JASA 22, 209, worked by hand)', () => {
  const [low, high] = wilson(9, 10);
  expect(low).toBeCloseTo(0.5958, 3);
  expect(high).toBeCloseTo(0.9821, 3);
});
