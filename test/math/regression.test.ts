import { expect, test } from 'vitest';
import { robustRegression } from '../../workers/math/regression.ts';
import { createRandom } from '../../workers/simulate/random.ts';

const line = (n: number, noise: (x: number) => number) => {
  const x = Array.from({ length: n }, (_, i) => (2 * i) / (n - 1) - 1);
  return {
    rows: Float64Array.from(x.flatMap((value) => [1, value])),
    values: Float64Array.from(x, (value) => 3 - 2 * value + noise(value)),
  };
};

test('a line without noise comes back', () => {
  const { rows, values } = line(12, () => 0);
  const [a, b] = robustRegression(rows, values, 2)!.coefficients;
  expect(a).toBeCloseTo(3, 12);
  expect(b).toBeCloseTo(-2, 12);
});

test('one value in eight far off moves the line by less than its scatter', () => {
  const random = createRandom(5);
  const { rows, values } = line(40, () => 0.1 * random.normal());
  for (let i = 3; i < 40; i += 8) values[i] += 5;
  const [a, b] = robustRegression(rows, values, 2)!.coefficients;
  expect(Math.abs(a - 3)).toBeLessThan(0.1);
  expect(Math.abs(b + 2)).toBeLessThan(0.1);
});

test('two standard errors hold the truth in 95 % of draws, also where the noise grows along the line (White 1980)', () => {
  const random = createRandom(11);
  const draws = 1000;
  let inside = 0;
  for (let draw = 0; draw < draws; draw++) {
    const { rows, values } = line(160, (x) => (0.1 + 0.1 * (x + 1)) * random.normal());
    const { coefficients, covariance } = robustRegression(rows, values, 2)!;
    if (Math.abs(coefficients[1] + 2) < 1.96 * Math.sqrt(covariance[3])) inside++;
  }
  // Binomial noise of 1000 draws: 0.7 %, three of them.
  expect(inside / draws).toBeGreaterThan(0.929);
  expect(inside / draws).toBeLessThan(0.971);
});

test('too few values, or columns that say the same, give nothing', () => {
  expect(robustRegression(Float64Array.of(1, 0, 1, 1, 1, 2), Float64Array.of(1, 2, 3), 2)).toBeNull();
  const same = Float64Array.from({ length: 20 }, () => 1);
  expect(
    robustRegression(
      same,
      Float64Array.from({ length: 10 }, (_, i) => i),
      2,
    ),
  ).toBeNull();
});
