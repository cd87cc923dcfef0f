import { median } from '../math/robust.ts';
import { fitMotionWith, type MotionFit, type Places } from './fit-motion.ts';
import type { MotionSpec } from './motion-model.ts';
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
 * Drift and waves with the jumps taken out: steps far beyond the usual one are candidates, and those that the model does
 * not need are taken back. `turns` are frames from which on the camera lay differently: always a new segment.
 */
export function partAtJumps(
  places: Places,
  turns: readonly number[],
  knownPeriodS: number | null,
): Parted | null {
  const candidates = stepsOf(places).filter((each) => !turns.includes(each));
  const everyFrame = candidates.length > MOST_SHARE * places.midS.length;
  let jumps = everyFrame ? [] : candidates;
  let found = findWaves(places, specOf(places, [...turns, ...jumps]), knownPeriodS);
  if (!found && jumps.length) {
    jumps = [];
    found = findWaves(places, specOf(places, turns), knownPeriodS);
  }
  if (!found) return null;
  const kept = needed(places, found.fit, turns, jumps);
  if (kept.length < jumps.length)
    found = findWaves(places, specOf(places, [...turns, ...kept]), knownPeriodS) ?? found;
  return { ...found, jumps: kept, everyFrame };
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
