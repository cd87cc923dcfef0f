import type { Estimate } from '../protocol/report.ts';

/** Standard deviation of a Gaussian over its median absolute deviation. */
export const SIGMA_PER_MAD = 1.482602218505602;

/** Median; NaN for none. The input is left as it is; NaN values are passed over. */
export function median(values: ArrayLike<number>): number {
  return quantile(values, 0.5);
}

/** Quantile by linear interpolation between order statistics; NaN for none. */
export function quantile(values: ArrayLike<number>, share: number): number {
  const sorted = Float64Array.from(values)
    .filter((value) => !Number.isNaN(value))
    .sort();
  if (sorted.length === 0) return NaN;
  const place = share * (sorted.length - 1);
  const below = Math.floor(place);
  const above = Math.min(below + 1, sorted.length - 1);
  return sorted[below] + (place - below) * (sorted[above] - sorted[below]);
}

/** Standard deviation by the median absolute deviation about `centre`. */
export function robustSigma(values: ArrayLike<number>, centre = median(values)): number {
  return SIGMA_PER_MAD * median(Float64Array.from(values, (value) => Math.abs(value - centre)));
}

/** Residuals beyond this many sigmas count less and less: Huber's 95 % efficient choice is 1.345. */
const HUBER = 1.345;

/**
 * Mean of values that have errors of their own and scatter besides, not minding a few outliers: Huber weights on
 * residuals standardised by sqrt(own variance + common scatter). The standard error is the sandwich of the influence
 * function, never below what the values' own errors allow (Huber & Ronchetti 2009, Robust Statistics, ch. 6).
 * Null when no value is finite.
 */
export function robustMean(values: ArrayLike<number>, sigmas: ArrayLike<number>): Estimate | null {
  const used: number[] = [];
  for (let i = 0; i < values.length; i++)
    if (Number.isFinite(values[i]) && Number.isFinite(sigmas[i]) && sigmas[i] > 0) used.push(i);
  if (used.length === 0) return null;
  if (used.length === 1) return { value: values[used[0]], sigma: sigmas[used[0]] };

  const own = used.map((i) => sigmas[i] ** 2);
  let value = median(used.map((i) => values[i]));
  const spread = robustSigma(
    used.map((i) => values[i]),
    value,
  );
  const scatter = Math.max(0, spread ** 2 - median(own));
  const weights = own.map((variance) => 1 / (variance + scatter));
  let total = 0;
  let squares = 0;
  for (let round = 0; round < 30; round++) {
    let sum = 0;
    total = 0;
    squares = 0;
    used.forEach((i, index) => {
      const residual = values[i] - value;
      const standard = Math.abs(residual) * Math.sqrt(weights[index]);
      const weight = weights[index] * (standard > HUBER ? HUBER / standard : 1);
      total += weight;
      sum += weight * residual;
      squares += (weight * residual) ** 2;
    });
    value += sum / total;
    if (Math.abs(sum / total) < 1e-6 * Math.sqrt(1 / total)) break;
  }
  const sandwich = (squares / total ** 2) * (used.length / (used.length - 1));
  const floor = 1 / own.reduce((sum, variance) => sum + 1 / variance, 0);
  return { value, sigma: Math.sqrt(Math.max(sandwich, floor)) };
}
