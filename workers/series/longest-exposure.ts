import { quantile } from '../math/robust.ts';
import type { Estimate } from '../protocol/report.ts';
import type { KeptShare, LongestExposure } from '../protocol/series.ts';
import { seededNormals } from './draws.ts';
import { driftAt, placeAt, waveAt, type Motion } from './motion-model.ts';
import type { Noise } from './noise.ts';

/**
 * A trail's length is the distance between the two farthest points of the star's path within the exposure (peak to
 * peak). For every start the longest exposure whose trail stays under the limit is found; the lengths that 50, 90, 95 %
 * of the starts bear are quantiles of these. Starts are spread evenly over whole periods of the largest wave, over the
 * run at least. A wander that frames share is added as one of its possible courses; scatter from frame to frame is not:
 * it is air and errors of places, which leave no trail.
 */

/** Directions in which the path's width is taken; the largest is short of the diameter by at most 0.3 %. */
const DIRECTIONS = 24;
const STARTS = 700;
/** Exposures beyond so many lengths of the run cannot be told from it. */
const LONGEST_SPANS = 4;
const MOST_MOMENTS = 24_000;
/** Moments of the path within the shortest exposure that matters. */
const MOMENTS_WITHIN = 30;

/** Longest exposure for each start, seconds; Infinity beyond the horizon. */
export function longestByStart(motion: Motion, noise: Noise, spanS: number, limitPx: number): Float64Array {
  const { spec } = motion;
  const periods = spec.waves.map((wave) => wave.periodS);
  const main = periods.length ? Math.max(...periods) : 0;
  const wander = noise.wanderPx2 > 0;
  const least = Math.max(spanS, spec.waves.length > 1 ? 8 * main : main, wander ? 20 * spanS : 0);
  const coverS = main > 0 && spec.degree === 1 ? main * Math.ceil(least / main - 1e-9) : least;
  const horizonS = LONGEST_SPANS * spanS;
  const finest = Math.min(coverS / STARTS, ...spec.waves.map((wave) => wave.periodS / wave.harmonics / 90));
  const stepS = Math.max(
    Math.min(finest, shortestS(motion, limitPx) / MOMENTS_WITHIN),
    (coverS + horizonS) / MOST_MOMENTS,
  );
  const starts = Math.max(2, Math.round(coverS / stepS));
  const count = starts + Math.ceil(horizonS / stepS) + 1;
  const from = motion.zeroS - spanS / 2;
  const frameS = spanS / Math.max(spec.segments.length - 1, 1);
  const course = wander ? [1, 2].map((seed) => wanderCourse(noise, frameS, count * stepS, seed)) : null;
  const along = (coefficients: Float64Array, axis: number) =>
    Float64Array.from(
      { length: count },
      (_, i) => placeAt(motion, coefficients, from + i * stepS) + (course ? course[axis](i * stepS) : 0),
    );
  return lengthsUnder(along(motion.x, 0), along(motion.y, 1), starts, limitPx).map((steps) => steps * stepS);
}

/** Time in which the limit is reached where drift and all waves pull the same way. */
function shortestS({ spec, x, y }: Motion, limitPx: number): number {
  const drift = driftAt(spec);
  let pxPerS = Math.hypot(x[drift], y[drift]) / 60;
  spec.waves.forEach(({ periodS, harmonics }, wave) => {
    const from = waveAt(spec, wave);
    for (let i = 0; i < 2 * harmonics; i++)
      pxPerS += (Math.hypot(x[from + i], y[from + i]) * 2 * Math.PI * (1 + (i >> 1))) / periodS;
  });
  return limitPx / pxPerS;
}

/** Steps of the path that each of the first `starts` places bears before the trail reaches the limit; a sliding window. */
export function lengthsUnder(
  x: Float64Array,
  y: Float64Array,
  starts: number,
  limitPx: number,
): Float64Array {
  const widths = Array.from({ length: DIRECTIONS }, (_, k) => {
    const [c, s] = [Math.cos((Math.PI * k) / DIRECTIONS), Math.sin((Math.PI * k) / DIRECTIONS)];
    return new WindowWidth(x.map((value, i) => c * value + s * y[i]));
  });
  const extent = () => widths.reduce((most, each) => Math.max(most, each.width), 0);
  const out = new Float64Array(starts);
  let [end, before, now] = [-1, 0, 0];
  for (let start = 0; start < starts; start++) {
    for (const each of widths) each.dropBefore(start);
    now = extent();
    while (now <= limitPx && end + 1 < x.length) {
      end++;
      before = now;
      for (const each of widths) each.add(end);
      now = extent();
    }
    if (now <= limitPx) out[start] = Infinity;
    else {
      // The last step was one too many; where within it the limit fell is told by the straight line.
      const least = Math.min(before, limitPx);
      out[start] = Math.max(0, end - 1 - start + (limitPx - least) / (now - least));
    }
  }
  return out;
}

/** Greatest less least value of a window that only moves on: two queues of candidates in falling and rising order. */
class WindowWidth {
  private readonly high: Int32Array;
  private readonly low: Int32Array;
  private highFrom = 0;
  private highTo = 0;
  private lowFrom = 0;
  private lowTo = 0;

  constructor(private readonly values: Float64Array) {
    this.high = new Int32Array(values.length);
    this.low = new Int32Array(values.length);
  }

  add(i: number): void {
    const value = this.values[i];
    while (this.highTo > this.highFrom && this.values[this.high[this.highTo - 1]] <= value) this.highTo--;
    while (this.lowTo > this.lowFrom && this.values[this.low[this.lowTo - 1]] >= value) this.lowTo--;
    this.high[this.highTo++] = i;
    this.low[this.lowTo++] = i;
  }

  dropBefore(i: number): void {
    while (this.highFrom < this.highTo && this.high[this.highFrom] < i) this.highFrom++;
    while (this.lowFrom < this.lowTo && this.low[this.lowFrom] < i) this.lowFrom++;
  }

  get width(): number {
    if (this.highFrom === this.highTo) return 0;
    return this.values[this.high[this.highFrom]] - this.values[this.low[this.lowFrom]];
  }
}

/** One course that the wander may take: its places at the frames' distance, joined by straight lines. */
function wanderCourse(noise: Noise, stepS: number, lengthS: number, seed: number): (t: number) => number {
  const normal = seededNormals(seed);
  const decay = Math.exp(-stepS / noise.wanderS);
  const nodes = new Float64Array(Math.ceil(lengthS / stepS) + 2);
  nodes[0] = Math.sqrt(noise.wanderPx2) * normal();
  for (let i = 1; i < nodes.length; i++)
    nodes[i] = decay * nodes[i - 1] + Math.sqrt(noise.wanderPx2 * (1 - decay * decay)) * normal();
  return (t) => {
    const i = Math.floor(t / stepS);
    const part = t / stepS - i;
    return nodes[i] + part * (nodes[i + 1] - nodes[i]);
  };
}

const SHARES = [0.5, 0.9, 0.95] as const;
/** A length with an error larger than this share of itself is not told. */
const MOST_RELATIVE_ERROR = 0.5;
/** Lengths of the curve, shares of the largest quantile. */
const CURVE_POINTS = 60;

/** Quantiles with the errors that the draws show, and the whole curve. */
export function longestExposure(
  motion: Motion,
  draws: readonly Motion[],
  noise: Noise,
  spanS: number,
  limitPx: number,
): { longest: LongestExposure; keeping: KeptShare[] } {
  const best = longestByStart(motion, noise, spanS, limitPx).sort();
  const drawn = draws.map((draw) => longestByStart(draw, noise, spanS, limitPx).sort());
  const [share50, share90, share95] = SHARES.map((share): Estimate | null => {
    const value = quantile(best, 1 - share);
    const sigma = rms(drawn.map((each) => quantile(each, 1 - share) - value));
    return Number.isFinite(value) && sigma < MOST_RELATIVE_ERROR * value ? { value, sigma } : null;
  });
  const finite = best.filter(Number.isFinite);
  const longestS = finite.length ? 1.25 * quantile(finite, 0.98) : 0;
  const keeping = Array.from({ length: longestS > 0 ? CURVE_POINTS : 0 }, (_, i): KeptShare => {
    const exposureS = (longestS * (i + 1)) / CURVE_POINTS;
    const value = shareBearing(best, exposureS);
    return {
      exposureS,
      share: { value, sigma: rms(drawn.map((each) => shareBearing(each, exposureS) - value)) },
    };
  });
  return { longest: { limitPx, share50, share90, share95 }, keeping };
}

/** Share of the (sorted) starts that bear an exposure of this length. */
export function shareBearing(sorted: Float64Array, exposureS: number): number {
  let [low, high] = [0, sorted.length];
  while (low < high) {
    const middle = (low + high) >> 1;
    if (sorted[middle] < exposureS) low = middle + 1;
    else high = middle;
  }
  return 1 - low / sorted.length;
}

const rms = (values: number[]): number =>
  Math.sqrt(values.reduce((sum, v) => sum + v * v, 0) / Math.max(values.length, 1));
