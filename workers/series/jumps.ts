import { median } from '../math/robust.ts';
import { fitMotionWith, type MotionFit, type Places } from './fit-motion.ts';
import { motionColumns, type MotionSpec } from './motion-model.ts';
import { findWaves, type WavesFound } from './waves.ts';

/** A step from one frame to the next counts from this many times the usual scatter of steps on, and from this length. */
const STEP_SIGMAS = 6;
const LEAST_STEP_PX = 0.6;
/** More steps than this share of the frames are no jumps: the field moves in every frame. */
const MOST_SHARE = 0.55;
/** Log likelihood that a jump (two coefficients) must gain; there are as many chances as frames. */
const JUMP_GAIN = 12;
/** Quarter of a two-dimensional Gaussian's lengths lie below this many sigmas: sqrt(-2 ln 0.75). */
const QUARTER_LENGTH = 0.7585;

export interface Parted extends WavesFound {
  /** First frames after a jump. */
  jumps: number[];
  /** The field jumps from frame to frame, so often that jumps cannot be told from the drift. */
  everyFrame: boolean;
}

/**
 * Drift and waves with the jumps taken out. Steps far beyond the usual one are candidates: of the places as they are, and of
 * what a smooth swing leaves of them. A swing of few frames a period makes large steps everywhere and a jump is a step that
 * stays, so both ways of telling the same places are fitted whole and the likelier one counts, each jump and wave at its price.
 * `turns` are frames from which on the camera lay differently: always a new segment.
 */
export function partAtJumps(
  places: Places,
  turns: readonly number[],
  knownPeriodS: number | null,
): Parted | null {
  const fit = (jumps: readonly number[]) =>
    findWaves(places, specOf(places, [...turns, ...jumps]), knownPeriodS);
  const fresh = (candidates: number[]) => candidates.filter((each) => !turns.includes(each));
  const raw = fresh(stepsOf(places));
  const crowded = (jumps: number[]) => jumps.length > MOST_SHARE * places.midS.length;
  const smooth = fit([]);
  if (!smooth) return null;
  const waves = smooth.fit.motion.spec.waves.length > 0;
  const left = waves ? fresh(stepsOf(leftOf(places, smooth.fit))) : raw;
  // A jump bends the swing that is fitted across it: what is left of a second fit, the jump in it, is clearer.
  const again = waves && left.length > 0 && !crowded(left) ? fit(left) : null;
  const clearer = again ? fresh(stepsOf(leftOf(places, again.fit))) : [];
  const tried = [raw, left, clearer].filter((jumps) => jumps.length > 0 && !crowded(jumps));
  let best: Parted = { ...smooth, jumps: [], everyFrame: crowded(left) };
  for (const candidates of distinct(tried)) {
    const found = fit(candidates);
    if (!found) continue;
    const kept = needed(places, found.fit, turns, candidates);
    const whole = kept.length < candidates.length ? (fit(kept) ?? found) : found;
    const jumps = whole === found ? candidates : kept;
    if (priced(whole, jumps) > priced(best, best.jumps)) best = { ...whole, jumps, everyFrame: false };
  }
  return best;
}

const distinct = (lists: number[][]): number[][] =>
  lists.filter((list, i) => lists.findIndex((other) => other.join() === list.join()) === i);

/** Log likelihood less what its jumps and waves must have gained to be believed. */
function priced({ fit }: WavesFound, jumps: readonly number[]): number {
  const harmonics = fit.motion.spec.waves.reduce((sum, wave) => sum + wave.harmonics, 0);
  return fit.logLikelihood - JUMP_GAIN * jumps.length - WAVE_PRICE * harmonics;
}
/** A harmonic brings four coefficients and a period. */
const WAVE_PRICE = 10;

/** The places without the fitted drift and waves: what was fitted as jumps stays. */
function leftOf(places: Places, { motion }: MotionFit): Places {
  const columns = motionColumns(motion.spec, places);
  const from = motion.spec.segmentCount;
  const axis = (values: Float64Array, coefficients: Float64Array) =>
    values.map((value, i) => {
      let left = value;
      for (let c = from; c < columns.length; c++) left -= coefficients[c] * columns[c][i];
      return left;
    });
  return { ...places, x: axis(places.x, motion.x), y: axis(places.y, motion.y) };
}

export function specOf({ midS }: Places, breaks: readonly number[]): MotionSpec {
  const segments = new Int32Array(midS.length);
  for (let i = 1; i < segments.length; i++) segments[i] = segments[i - 1] + Number(breaks.includes(i));
  return { segments, segmentCount: segments[segments.length - 1] + 1, degree: 1, waves: [] };
}

/** Frames whose step from the one before is far from the usual; the usual is told by the smaller steps. */
function stepsOf({ x, y, own, midS }: Places): number[] {
  const n = x.length;
  if (n < 4) return [];
  const dx = Float64Array.from({ length: n - 1 }, (_, i) => x[i + 1] - x[i]);
  const dy = Float64Array.from({ length: n - 1 }, (_, i) => y[i + 1] - y[i]);
  const interval = Float64Array.from({ length: n - 1 }, (_, i) => midS[i + 1] - midS[i]);
  const usual = Math.max(median(interval), 1e-9);
  const [cx, cy] = [median(dx), median(dy)];
  const off = dx.map((_, i) => {
    const part = Math.min(interval[i] / usual, 3);
    return Math.hypot(dx[i] - cx * part, dy[i] - cy * part) / Math.max(1, part);
  });
  const quarter = [...off].sort((a, b) => a - b)[Math.floor(off.length / 4)];
  const sigma = Math.max(quarter / QUARTER_LENGTH, Math.sqrt(2 * median(own)));
  const out: number[] = [];
  for (let i = 0; i < n - 1; i++) if (off[i] > Math.max(STEP_SIGMAS * sigma, LEAST_STEP_PX)) out.push(i + 1);
  return out;
}

/** Takes back, one by one, the jumps that the fit is hardly better for. */
function needed(places: Places, first: MotionFit, turns: readonly number[], jumps: number[]): number[] {
  let kept = jumps;
  let fit = first;
  while (kept.length) {
    const without = kept
      .map((jump) => {
        const rest = kept.filter((each) => each !== jump);
        const { segments, segmentCount } = specOf(places, [...turns, ...rest]);
        const spec = { ...fit.motion.spec, segments, segmentCount };
        return { rest, fit: fitMotionWith(places, spec, fit.noise) };
      })
      .reduce((a, b) => ((a.fit?.logLikelihood ?? -Infinity) >= (b.fit?.logLikelihood ?? -Infinity) ? a : b));
    if (!without.fit || fit.logLikelihood - without.fit.logLikelihood > JUMP_GAIN) break;
    kept = without.rest;
    fit = without.fit;
  }
  return kept;
}
