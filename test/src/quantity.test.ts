import { expect, test } from 'vitest';
import {
  availableUnits,
  count,
  decimalsFor,
  lengthWithError,
  plain,
  retold,
  shortLength,
  withError,
} from '../../src/format/quantity.ts';

const NO_SCALE = { arcsecPerPx: null, umPerPx: null };
const SCALE = { arcsecPerPx: 1.5, umPerPx: 3.8 };

test('the standard error decides how many digits are shown', () => {
  // Rounding to one digit from 2 up changes the error by a quarter at most (0.25 -> 0.2 or 0.3), to two digits below
  // 2 by a twentieth: arithmetic.
  expect(withError({ value: 3.14159, sigma: 0.0412 })).toBe('3.14 ± 0.04');
  expect(withError({ value: 3.14159, sigma: 0.0137 })).toBe('3.142 ± 0.014');
  expect(withError({ value: 71.8, sigma: 23 })).toBe('72 ± 23');
  expect(withError({ value: 3.14159, sigma: 0.00002 })).toBe('3.142 ± 0.000');
  expect(withError(null)).toBe('–');
  expect(withError({ value: NaN, sigma: 1 })).toBe('–');
});

test('without a usable error two decimals are shown', () => {
  for (const sigma of [0, NaN, Infinity, -1]) expect(decimalsFor(sigma)).toBe(2);
});

test('a rounded zero has no sign and minus is a minus sign', () => {
  expect(plain(-0.001, 2)).toBe('0.00');
  expect(plain(-1.5, 1)).toBe('−1.5');
});

test('all units switch by their scale and only known ones are offered', () => {
  expect(availableUnits(NO_SCALE)).toEqual(['px']);
  expect(availableUnits({ arcsecPerPx: null, umPerPx: 3.8 })).toEqual(['px', 'um']);
  expect(availableUnits(SCALE)).toEqual(['px', 'arcsec', 'um']);
  const width = { value: 4, sigma: 0.2 };
  expect(lengthWithError(width, 'arcsec', SCALE)).toBe('6.0 ± 0.3\u202f″');
  expect(lengthWithError(width, 'um', SCALE)).toBe('15.2 ± 0.8\u202fµm');
  expect(lengthWithError(width, 'um', NO_SCALE)).toBe('4.0 ± 0.2\u202fpx');
  expect(shortLength(4, 'arcsec', SCALE)).toBe('6.0″');
});

test('thousands stand apart', () => {
  expect([0, 999, 1000, 1234567].map(count)).toEqual(['0', '999', '1\u202f000', '1\u202f234\u202f567']);
});

test('a sentence is told in another unit; places on the frame stay', () => {
  const said = 'Corners are 2.0 px wide, within 281 px of the middle.';
  expect(retold(said, 'px', SCALE)).toBe('Corners are 2.0\u202fpx wide, within 281 px of the middle.');
  expect(retold(said, 'um', SCALE)).toBe('Corners are 7.6\u202fµm wide, within 281 px of the middle.');
  expect(retold(said, 'arcsec', SCALE)).toBe('Corners are 3.0″ wide, within 281 px of the middle.');
});
