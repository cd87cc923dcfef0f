import { robustSigma } from '../math/robust.ts';
import { dot } from './least-squares.ts';
import { whiten } from './noise.ts';
import { neighbourMedian } from './trend.ts';

/**
 * What air may do, each as likely as the other: how long it remembers, in parts of the run, from a few frames up to a walk
 * that never comes back; and the variance of its steps from frame to frame over that of what single frames scatter.
 */
const MEMORIES = [0.05, 0.15, 0.5, 10];
const RATES = [0.003, 0.01, 0.03, 0.1, 0.3, 1, 3, 30];
/** ... or it only scatters, as likely as all of these together. */
const ONLY_SCATTER = 0.5;
/** Growths that are expected, standard deviation in natural logarithms: about a third (our own guess). */
const EXPECTED_GROWTH = 0.3;
/** Variances of the scatter that are looked at, over what the frames themselves show. */
const SCATTERS = Array.from({ length: 14 }, (_, i) => 2 ** (1 - i / 2));

/** Shapes of a change that goes one way only, over a run from 0 to 1: even, ever faster, ever slower. */
const SHAPES: ((t: number) => number)[] = [(t) => t, (t) => t * t, (t) => 1 - Math.exp(-3 * t)];
/** A frame this many scatters from the median of so many on either side was hit by something else. */
const STANDS_OUT = 5;
const NEIGHBOURS = 5;

/**
 * Bayes factor, as a natural logarithm, of a change that goes one way against none, the air wandering or not in both (a
 * first-order autoregressive process beside white noise; the random walk is its limit). Air wanders: a straight line
 * through it is always many of its scatters long, so that the line's own error tells nothing. Averaged over the airs above
 * a factor of k or more comes by chance in at most one night of k, whatever the number of frames (Markov's inequality).
 * Values are positive and taken as logarithms; those far from their neighbours are left out. 0 for fewer than eight.
 */
export function lnGrowthOdds(times: readonly number[], values: readonly number[]): number {
  const series = seriesOf(times, values);
  if (!series) return 0;
  const { t, y } = series;
  const n = t.length;
  const columns = [t.map(() => 1), y, ...SHAPES.map((shape) => t.map(shape))];
  const none = new Float64Array(n);
  const still: number[] = [];
  const growing: number[] = [];
  const look = (wanderPx2: number, wanderS: number, share: number) => {
    const white = whiten(columns, t, none, { scatterPx2: 1, wanderPx2, wanderS });
    const [one, target, ...shapes] = white.columns;
    const size = dot(one, one);
    // A constant may have any value: it is taken out of everything.
    const off = (column: Float64Array) => {
      const mean = dot(column, one) / size;
      return column.map((value, i) => value - mean * one[i]);
    };
    const left = off(target);
    const chi2 = dot(left, left);
    const parts = shapes.map(off).map((shape) => [dot(shape, shape), dot(shape, left)]);
    const base = Math.log(share) - 0.5 * (white.logVariance + Math.log(size));
    for (const scatter of SCATTERS) {
      const variance = (scatter * chi2) / n;
      const ln = base - 0.5 * (n - 1) * Math.log(variance) - chi2 / (2 * variance);
      still.push(ln);
      for (const [square, along] of parts) {
        const known = (EXPECTED_GROWTH ** 2 * square) / variance;
        const gain = (along * along) / square / variance;
        growing.push(
          ln - Math.log(SHAPES.length) - 0.5 * Math.log1p(known) + (0.5 * gain * known) / (1 + known),
        );
      }
    }
  };
  look(0, 1, ONLY_SCATTER);
  const share = (1 - ONLY_SCATTER) / (MEMORIES.length * RATES.length);
  for (const memory of MEMORIES) for (const rate of RATES) look((rate * n * memory) / 2, memory, share);
  return lnSum(growing) - lnSum(still);
}

function seriesOf(
  times: readonly number[],
  values: readonly number[],
): { t: Float64Array; y: Float64Array } | null {
  const usual = neighbourMedian(values, NEIGHBOURS);
  const off = values.map((value, i) => value - usual[i]);
  const most = STANDS_OUT * robustSigma(off, 0);
  const kept = values
    .map((_, i) => i)
    .filter((i) => values[i] > 0 && Number.isFinite(times[i]) && Math.abs(off[i]) <= most);
  if (kept.length < 8) return null;
  const from = times[kept[0]];
  const span = times[kept[kept.length - 1]] - from;
  if (!(span > 0)) return null;
  return {
    t: Float64Array.from(kept, (i) => (times[i] - from) / span),
    y: Float64Array.from(kept, (i) => Math.log(values[i])),
  };
}

function lnSum(ln: readonly number[]): number {
  const most = ln.reduce((a, b) => Math.max(a, b), -Infinity);
  return most + Math.log(ln.reduce((sum, each) => sum + Math.exp(each - most), 0));
}
