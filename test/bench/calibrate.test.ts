import { expect, test } from 'vitest';
import { logisticThrough } from '../../bench/field/calibrate.ts';
import { createRandom } from '../../workers/simulate/random.ts';

/** Verdicts whose chance of being right follows a known curve. */
function drawn(count: number, at0: number, slope: number) {
  const random = createRandom(71);
  return Array.from({ length: count }, () => {
    const gap = Math.exp(7 * random.uniform()) - 1;
    return { gap, right: random.uniform() < 1 / (1 + Math.exp(-at0 - slope * Math.log(1 + gap))) };
  });
}

test('many verdicts: the curve that they were drawn from', () => {
  const [at0, slope] = [-0.5, 0.7];
  const verdicts = drawn(4000, at0, slope);
  const found = logisticThrough(verdicts);
  // Standard errors from the Fisher information of Bernoulli draws: sum of p (1 - p) [1 x; x x^2], inverted.
  let [a, b, c] = [0, 0, 0];
  for (const { gap } of verdicts) {
    const x = Math.log(1 + gap);
    const p = 1 / (1 + Math.exp(-at0 - slope * x));
    a += p * (1 - p);
    b += p * (1 - p) * x;
    c += p * (1 - p) * x * x;
  }
  expect(Math.abs(found.at0 - at0)).toBeLessThan(3 * Math.sqrt(c / (a * c - b * b)));
  expect(Math.abs(found.slope - slope)).toBeLessThan(3 * Math.sqrt(a / (a * c - b * b)));
});

test('no verdict: what was believed before; always right: surer than before, never less sure by distance', () => {
  const before = logisticThrough([]);
  const after = logisticThrough([5, 10, 20, 40, 80].map((gap) => ({ gap, right: true })));
  expect(after.at0).toBeGreaterThan(before.at0);
  const fooled = logisticThrough([
    ...Array.from({ length: 40 }, () => ({ gap: 2, right: true })),
    ...Array.from({ length: 40 }, () => ({ gap: 500, right: false })),
  ]);
  expect(fooled.slope).toBeGreaterThan(0);
});
