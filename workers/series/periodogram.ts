import { dot } from './least-squares.ts';
import { middleOf, motionColumns, waveColumns, type MotionSpec } from './motion-model.ts';
import type { Places } from './fit-motion.ts';

/** Frequencies that are looked at, cycles per second. */
export interface Band {
  from: number;
  to: number;
  /** Independent frequencies in it: width times sqrt(4 pi var t). */
  width: number;
}

/** Periods from twice the usual interval to a little more than the run. */
export function bandOf({ midS }: Places): Band {
  const n = midS.length;
  const span = midS[n - 1] - midS[0];
  const intervals = Float64Array.from({ length: n - 1 }, (_, i) => midS[i + 1] - midS[i]).sort();
  const from = 1 / (LONGEST_SPANS * span);
  const to = 0.5 / intervals[(n - 1) >> 1];
  const mean = midS.reduce((sum, t) => sum + t, 0) / n;
  const variance = midS.reduce((sum, t) => sum + (t - mean) ** 2, 0) / n;
  return { from, to, width: (to - from) * Math.sqrt(4 * Math.PI * variance) };
}
const LONGEST_SPANS = 1.25;
/** Frequencies per 1 / span. */
const OVERSAMPLING = 12;
const MOST_FREQUENCIES = 20_000;
/** Exposures that leave less of a wave than this tell nothing of it. */
const LEAST_LEFT = 0.05;

export interface Peak {
  periodS: number;
  /** Share of the scatter that the wave takes away, both axes together. */
  share: number;
}

/**
 * Lomb-Scargle periodogram in its general form: at each period cosine and sine, averaged over the exposures, are fitted to x and y beside all
 * other parts of the model (places of the segments, drift, waves found before), weighted (Zechmeister & Kürster 2009,
 * A&A 496, 577; Lomb 1976; Scargle 1982). The highest peaks, best first.
 */
export function highestPeaks(
  places: Places,
  base: MotionSpec,
  scatterPx2: number,
  band: Band,
  count: number,
): Peak[] {
  const weight = places.own.map((own) => 1 / Math.sqrt(own + scatterPx2));
  const weighted = (column: Float64Array) => column.map((value, i) => value * weight[i]);
  const frame = orthonormal(motionColumns(base, places).map(weighted));
  const [x, y] = [places.x, places.y].map((target) => without(weighted(target), frame));
  const total = dot(x, x) + dot(y, y);
  const span = places.midS[places.midS.length - 1] - places.midS[0];
  const steps = Math.min(MOST_FREQUENCIES, Math.ceil((band.to - band.from) * span * OVERSAMPLING));
  const frequency = (i: number) => band.from + ((band.to - band.from) * i) / steps;
  const zero = middleOf(places);
  const cos = new Float64Array(weight.length);
  const sin = new Float64Array(weight.length);
  const share = Float64Array.from({ length: steps + 1 }, (_, i) => {
    waveColumns(places, zero, 1 / frequency(i), cos, sin);
    const pair = [weighted(cos), weighted(sin)];
    const size = dot(pair[0], pair[0]) + dot(pair[1], pair[1]);
    if (size < LEAST_LEFT ** 2 * dot(weight, weight)) return 0;
    const added = orthonormal(
      pair.map((column) => without(column, frame)),
      1e-4 * size,
    );
    return added.reduce((sum, column) => sum + dot(column, x) ** 2 + dot(column, y) ** 2, 0) / total;
  });
  const peaks: Peak[] = [];
  for (let i = 0; i <= steps; i++) {
    if (!(share[i] > 0) || share[i] < (share[i - 1] ?? 0) || share[i] < (share[i + 1] ?? 0)) continue;
    peaks.push({ periodS: 1 / frequency(i), share: share[i] });
  }
  return peaks.sort((p, q) => q.share - p.share).slice(0, count);
}

/** Gram-Schmidt; columns whose square length that is left is below `least` are dropped. */
function orthonormal(columns: Float64Array[], least = 1e-12): Float64Array[] {
  const kept: Float64Array[] = [];
  for (const column of columns) {
    const left = without(column, kept);
    const square = dot(left, left);
    if (square > least) kept.push(left.map((value) => value / Math.sqrt(square)));
  }
  return kept;
}

function without(column: Float64Array, frame: Float64Array[]): Float64Array {
  const left = Float64Array.from(column);
  for (const each of frame) {
    const along = dot(left, each);
    for (let i = 0; i < left.length; i++) left[i] -= along * each[i];
  }
  return left;
}

/**
 * Probability that noise alone gives a peak with this gain in log likelihood anywhere in the band. For one frequency the
 * gain is half of a chi squared with as many degrees of freedom as the wave has coefficients, 2k: exp(-z) sum z^j/j!, j <
 * k; over a band the crossings of such a process add W z^(k - 1/2) exp(-z) / (k - 1)! (Rice's formula as in Baluev
 * 2008, MNRAS 385, 1279, there for two). `freedom` is the share of the data's degrees of freedom that is left, which
 * corrects for the noise being found from few frames.
 */
export function falseAlarm(gain: number, band: Band, freedom: number, coefficients = 4): number {
  const z = Math.max(0, gain * freedom);
  const k = coefficients / 2;
  let term = 1;
  let sum = 0;
  for (let j = 0; j < k; j++) {
    sum += term;
    if (j < k - 1) term *= z / (j + 1);
  }
  return Math.min(1, Math.exp(-z) * (sum + band.width * term * Math.sqrt(z)));
}
