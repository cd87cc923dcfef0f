import { median, quantile, robustSigma } from '../math/robust.ts';

/** How a number went over a stretch of time; NaN values are passed over. */
export interface Trend {
  count: number;
  /** On the line through the stretch, at its beginning and end. */
  from: number;
  to: number;
  /** Scatter of single values about the line. */
  scatter: number;
  /** Change over its standard error. */
  significance: number;
  /** The three thirds follow each other the same way: no mere dip or hump. */
  steady: boolean;
}

/** Most pairs of values that a slope is the median of. */
const MOST_PAIRS = 4000;

/**
 * Robust line by the median of pairwise slopes (Theil 1950; Sen 1968, JASA 63, 1379). The change's standard error is
 * that of least squares over evenly spread times, scatter sqrt(12 / n). Null for fewer than six values.
 */
export function trendOf(times: ArrayLike<number>, values: ArrayLike<number>): Trend | null {
  const t: number[] = [];
  const v: number[] = [];
  for (let i = 0; i < values.length; i++)
    if (Number.isFinite(values[i]) && Number.isFinite(times[i])) {
      t.push(times[i]);
      v.push(values[i]);
    }
  const n = t.length;
  if (n < 6 || !(t[n - 1] > t[0])) return null;
  const slope = medianSlope(t, v);
  const level = median(v.map((value, i) => value - slope * t[i]));
  const scatter = robustSigma(
    v.map((value, i) => value - slope * t[i] - level),
    0,
  );
  const [from, to] = [level + slope * t[0], level + slope * t[n - 1]];
  const third = Math.max(2, Math.floor(n / 3));
  const [first, second, last] = [v.slice(0, third), v.slice(third, -third), v.slice(-third)].map((part) =>
    median(part),
  );
  return {
    count: n,
    from,
    to,
    scatter,
    significance: Math.abs(to - from) / Math.max(scatter * Math.sqrt(12 / n), 1e-9 * Math.abs(level)),
    steady: (second - first) * (last - second) > 0 && (last - first) * slope > 0,
  };
}

/** Pairs half the values apart and more tell the slope; all of them where they are few. */
function medianSlope(t: number[], v: number[]): number {
  const n = t.length;
  const slopes: number[] = [];
  const stride = Math.max(1, Math.ceil((n * n) / 2 / MOST_PAIRS));
  let at = 0;
  for (let i = 0; i < n; i++)
    for (let j = i + 1; j < n; j++)
      if (at++ % stride === 0 && t[j] > t[i]) slopes.push((v[j] - v[i]) / (t[j] - t[i]));
  return median(slopes);
}

/** Rank correlation (Spearman 1904) of two columns; NaN for fewer than four pairs. */
export function rankCorrelation(a: ArrayLike<number>, b: ArrayLike<number>): number {
  const both = Array.from(a, (value, i) => [value, b[i]] as const).filter(
    ([p, q]) => Number.isFinite(p) && Number.isFinite(q),
  );
  if (both.length < 4) return NaN;
  const p = ranks(both.map(([value]) => value));
  const q = ranks(both.map(([, value]) => value));
  const middle = (both.length - 1) / 2;
  let [pq, pp, qq] = [0, 0, 0];
  for (let i = 0; i < p.length; i++) {
    pq += (p[i] - middle) * (q[i] - middle);
    pp += (p[i] - middle) ** 2;
    qq += (q[i] - middle) ** 2;
  }
  return pp > 0 && qq > 0 ? pq / Math.sqrt(pp * qq) : NaN;
}

/** Ranks from 0; equal values share the mean of theirs. */
function ranks(values: number[]): number[] {
  const order = values.map((_, i) => i).sort((i, j) => values[i] - values[j]);
  const result = new Array<number>(values.length);
  for (let from = 0; from < order.length;) {
    let to = from;
    while (to + 1 < order.length && values[order[to + 1]] === values[order[from]]) to++;
    for (let i = from; i <= to; i++) result[order[i]] = (from + to) / 2;
    from = to + 1;
  }
  return result;
}

/** Median of the `reach` values before and after each, itself left out; NaN where there is none. */
export const neighbourMedian = (values: readonly number[], reach: number): number[] =>
  values.map((_, i) =>
    median([...values.slice(Math.max(0, i - reach), i), ...values.slice(i + 1, i + 1 + reach)]),
  );

/** Value that only the best tenth reaches: the run's good moments, not its luckiest one. */
export const bestTenth = (values: readonly number[], best: 'high' | 'low'): number =>
  quantile(values, best === 'high' ? 0.9 : 0.1);

/** Runs of consecutive indices for which `is` holds, joined over gaps of at most `gap`. */
export function stretches(length: number, is: (i: number) => boolean, gap = 0): [from: number, to: number][] {
  const found: [number, number][] = [];
  for (let i = 0; i < length; i++) {
    if (!is(i)) continue;
    const last = found.at(-1);
    if (last && i - last[1] <= gap + 1) last[1] = i;
    else found.push([i, i]);
  }
  return found;
}
