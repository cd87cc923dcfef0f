import { expect, test } from 'vitest';
import { asKnown, plain } from '../../workers/rig/plain-number.ts';

// A value is told to the first digit of its error (a rule of every first laboratory course, from memory).
test.each([
  [1.2445, 0.013, '1.24'],
  [5083.4, 3, '5083'],
  [5083.4, 40, '5080'],
  [-0.5123, 0.02, '−0.51'],
  [12.4, 0, '12.400'],
  [3, 200, '3'],
])('%f ± %f is told as %s', (value, sigma, told) => expect(asKnown({ value, sigma })).toBe(told));

test('a minus is a minus, and nought has none', () => {
  expect(plain(-1.26, 1)).toBe('−1.3');
  expect(plain(-0.01, 1)).toBe('0.0');
});
