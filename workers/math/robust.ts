import type { Estimate } from '../protocol/report.ts';
import { select } from './select.ts';

/** Standard deviation of a Gaussian over its median absolute deviation. */
export const SIGMA_PER_MAD = 1.482602218505602;

/** Median; NaN for none. The input is left as it is; NaN values are passed over. */
export function median(values: ArrayLike<number>): number {
  return quantile(values, 0.5);
}

/** Quantile by linear interpolation between order statistics; NaN for none. */
export function quantile(values: ArrayLike<number>, share: number): number {
  const kept = new Float64Array(values.length);
  let count = 0;
  for (let i = 0; i < values.length; i++) if (!Number.isNaN(values[i])) kept[count++] = values[i];
  if (count === 0) return NaN;
  const place = share * (count - 1);
  const below = Math.floor(place);
  select(kept, count, below);
  if (place === below) return kept[below];
  let above = Infinity;
  for (let i = below + 1; i < count; i++) if (kept[i] < above) above = kept[i];
  return kept[below] + (place - below) * (above - kept[below]);
}

/** Standard deviation by the median absolute deviation about `centre`. */
export function robustSigma(values: ArrayLike<number>, centre = median(values)): number {
  return SIGMA_PER_MAD * median(Float64Array.from(values, (value) => Math.abs(value - centre)));
}

/** Residuals beyond this many sigmas count less and less: Huber's 95 % efficient choice is 1.345. */
export const HUBER = 1.345;
/** Mean of min(z², HUBER²) of a Gaussian z: what the residuals are held against to find their common scatter. */
const HUBER_MEAN_SQUARE = 0.71016;

/**
 * Mean of values that have errors of their own and scatter besides, not minding a few outliers: Huber's M-estimate with
 * residuals standardised by sqrt(own variance + common scatter), the scatter found with it (his proposal 2). The
 * standard error is that of the influence function with Huber's correction for few values, never below what the values'
 * own errors allow (Huber & Ronchetti 2009, Robust Statistics, ch. 6 and 7.6). Null when no value is finite.
 */
export function robustMean(values: ArrayLike<number>, sigmas: ArrayLike<number>): Estimate | null {
  const room = [new Float64Array(values.length), new Float64Array(values.length)];
  let n = 0;
  for (let i = 0; i < values.length; i++) {
    if (!Number.isFinite(values[i]) || !Number.isFinite(sigmas[i]) || !(sigmas[i] > 0)) continue;
    room[0][n] = values[i];
    room[1][n++] = sigmas[i] ** 2;
  }
  const [x, own] = room.map((each) => each.subarray(0, n));
  if (n === 0) return null;
  if (n === 1) return { value: x[0], sigma: Math.sqrt(own[0]) };

  let value = median(x);
  let scatter = 0;
  for (let round = 0; round < 30; round++) {
    scatter = commonScatter(x, own, value, n - 1, scatter);
    let sum = 0;
    let total = 0;
    for (let i = 0; i < n; i++) {
      const variance = own[i] + scatter;
      const standard = Math.abs(x[i] - value) / Math.sqrt(variance);
      const weight = (standard > HUBER ? HUBER / standard : 1) / variance;
      sum += weight * (x[i] - value);
      total += weight;
    }
    value += sum / total;
    if (Math.abs(sum / total) < 1e-6 / Math.sqrt(total)) break;
  }

  let squares = 0;
  let slope = 0;
  let inside = 0;
  let information = 0;
  for (let i = 0; i < n; i++) {
    const variance = own[i] + scatter;
    const standard = (x[i] - value) / Math.sqrt(variance);
    const clipped = Math.max(-HUBER, Math.min(HUBER, standard));
    squares += clipped ** 2 / variance;
    information += 1 / own[i];
    if (clipped !== standard) continue;
    slope += 1 / variance;
    inside++;
  }
  const share = Math.max(inside, 1) / n;
  const fewValues = (1 + (1 - share) / share / n) ** 2 * (n / (n - 1));
  const variance = slope > 0 ? (squares / slope ** 2) * fewValues : Infinity;
  return { value, sigma: Math.sqrt(Math.max(Math.min(variance, spreadVariance(x)), 1 / information)) };
}

/**
 * Scatter (a variance, at least 0) that gives the clipped residuals about `value` the mean square of a Gaussian's with
 * `freedom` degrees of freedom; `own` are the variances that the values have by themselves. `guess`: where to seek first.
 */
export function commonScatter(
  x: ArrayLike<number>,
  own: ArrayLike<number>,
  value: number,
  freedom: number,
  guess = 0,
): number {
  const wanted = HUBER_MEAN_SQUARE * freedom;
  let usual = 0;
  let high = 0;
  for (let i = 0; i < x.length; i++) {
    high = Math.max(high, 2 * (x[i] - value) ** 2);
    usual += own[i] / x.length;
  }
  let low = 0;
  let scatter = guess > 0 ? guess : 0;
  for (let step = 0; step < 60; step++) {
    // Sum of the clipped squares, which falls with the scatter, and how fast.
    let sum = 0;
    let fall = 0;
    for (let i = 0; i < x.length; i++) {
      const variance = own[i] + scatter;
      const square = (x[i] - value) ** 2 / variance;
      if (square < HUBER ** 2) {
        sum += square;
        fall += square / variance;
      } else sum += HUBER ** 2;
    }
    if (sum > wanted) low = scatter;
    else if (scatter === 0) return 0;
    else high = scatter;
    // Newton's step for 1 / sum, which is a straight line where all own variances are alike and none is clipped.
    const next = scatter + ((sum / wanted - 1) * sum) / fall;
    if (Math.abs(next - scatter) <= 1e-5 * scatter) return next; // what is left is of second order
    if (scatter === 0) scatter = Math.min(usual || Infinity, high / 2);
    else if (next > low && next < high) scatter = next;
    else scatter = low > 0 ? (low + high) / 2 : 0;
  }
  return high;
}

/** Variance of a value that is but one of these: the most that the error of their mean can be. */
function spreadVariance(x: Float64Array): number {
  const mean = x.reduce((sum, each) => sum + each, 0) / x.length;
  return x.reduce((sum, each) => sum + (each - mean) ** 2, 0) / (x.length - 1);
}
