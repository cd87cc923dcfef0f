import { describe, expect, test } from 'vitest';
import { median, quantile, robustMean, robustSigma } from '../../workers/math/robust.ts';
import { createRandom } from '../../workers/simulate/random.ts';

describe('order statistics', () => {
  test('of small sets by hand; NaN is passed over, nothing gives NaN, the input stays as it is', () => {
    const values = [5, NaN, 1, 9, 3];
    expect(median(values)).toBe(4);
    expect(median([2, 1, 3])).toBe(2);
    // Linear between order statistics: place 0.25 * 3 = 0.75 between 1 and 3.
    expect(quantile(values, 0.25)).toBe(2.5);
    expect([quantile(values, 0), quantile(values, 1)]).toEqual([1, 9]);
    expect(median([])).toBe(NaN);
    expect(median([NaN, NaN])).toBe(NaN);
    expect(values).toEqual([5, NaN, 1, 9, 3]);
    expect(median([10, 9, 100])).toBe(10); // numbers, not texts
  });

  test('the robust standard deviation of Gaussian numbers is their own', () => {
    const random = createRandom(1);
    const values = Array.from({ length: 20_000 }, () => 7 + 3 * random.normal());
    // Efficiency 37 % (Huber & Ronchetti 2009): standard error 3 * 1.17 / sqrt(20000) = 0.025.
    expect(Math.abs(robustSigma(values) - 3)).toBeLessThan(0.1);
  });
});

describe('robust mean', () => {
  /** Mean and rms of (estimate - truth) / sigma over many draws. */
  function pulls(draw: (random: ReturnType<typeof createRandom>) => [values: number[], sigmas: number[]]) {
    const random = createRandom(77);
    const list = Array.from({ length: 1500 }, () => {
      const estimate = robustMean(...draw(random))!;
      return (estimate.value - 10) / estimate.sigma;
    });
    const mean = list.reduce((sum, v) => sum + v, 0) / list.length;
    return { mean, rms: Math.sqrt(list.reduce((sum, v) => sum + v * v, 0) / list.length) };
  }
  const range = (n: number) => Array.from({ length: n }, (_, i) => i);

  test.each([
    [5, 0],
    [12, 0],
    [40, 0],
    [5, 0.4],
    [12, 0.4],
    [40, 0.4],
  ])(
    '%i values with unequal errors and a common scatter of %f: its sigma is the error of the mean',
    (n, scatter) => {
      const { mean, rms } = pulls((random) => {
        const sigmas = range(n).map(() => 0.05 + 0.3 * random.uniform());
        return [sigmas.map((sigma) => 10 + Math.hypot(sigma, scatter) * random.normal()), sigmas];
      });
      // Standard errors over 1500 draws: 0.026 and 0.018. Few values estimate their own scatter badly (Student's t of
      // n - 1 degrees of freedom has rms sqrt((n - 1) / (n - 3)), 1.41 for 5).
      expect(Math.abs(mean)).toBeLessThan(0.1);
      expect(rms).toBeGreaterThan(0.85);
      expect(rms).toBeLessThan(1.08 * Math.sqrt((n - 1) / (n - 3)));
    },
  );

  test('one value in eight far off moves it by less than its error', () => {
    const { mean, rms } = pulls((random) => {
      const sigmas = range(40).map(() => 0.2);
      return [sigmas.map((sigma, i) => 10 + sigma * random.normal() + (i % 8 === 0 ? 25 : 0)), sigmas];
    });
    // Huber's bound: each outlier pulls as 1.345 sigma would: 5 of 40 by 0.17 sigma or 1.1 standard errors.
    expect(mean).toBeLessThan(1.3);
    expect(rms).toBeLessThan(1.7);
  });

  test('ignores what has no value or no error; one value keeps its error; none gives null', () => {
    expect(robustMean([NaN, 4, 7], [1, 2, NaN])).toEqual({ value: 4, sigma: 2 });
    expect(robustMean([NaN], [1])).toBeNull();
    expect(robustMean([], [])).toBeNull();
    expect(robustMean([3], [0])).toBeNull();
  });
});
