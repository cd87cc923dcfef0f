import { expect, test } from 'vitest';
import { fwhmOfTransfer } from '../../workers/math/transfer-width.ts';

test('a Gaussian image has 2.3548 sigma (closed form: its transform is exp(-2 pi^2 sigma^2 f^2))', () => {
  const width = fwhmOfTransfer((f) => Math.exp(-2 * Math.PI ** 2 * f * f), 1.5);
  expect(width).toBeCloseTo(2 * Math.sqrt(2 * Math.log(2)), 4);
});

test('a long exposure through Kolmogorov air: 0.9759 lambda / r0 (Fried 1966 gives the transfer exp(-3.44 x^(5/3)))', () => {
  // The familiar 0.98 lambda / r0; four digits by Hankel transform as in the handbook's table of widths.
  expect(fwhmOfTransfer((f) => Math.exp(-3.44193 * f ** (5 / 3)), 2.5)).toBeCloseTo(0.9759, 3);
});

test('a clear circular pupil: 1.029 lambda / D (Airy pattern, Born & Wolf 8.5)', () => {
  const airy = (f: number) => (f >= 1 ? 0 : (2 / Math.PI) * (Math.acos(f) - f * Math.sqrt(1 - f * f)));
  expect(fwhmOfTransfer(airy, 1)).toBeCloseTo(1.029, 3);
});

test('the profile (1 + r^2)^(-3/2) falls to half at r = sqrt(2^(2/3) - 1); its transform is exp(-2 pi f)', () => {
  expect(fwhmOfTransfer((f) => Math.exp(-2 * Math.PI * f), 4)).toBeCloseTo(
    2 * Math.sqrt(2 ** (2 / 3) - 1),
    3,
  );
});
