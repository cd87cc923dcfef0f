import type { JudgeOptions, Mark, RunFrame, RunJudgement, RunPoint } from '../protocol/run.ts';
import { judgeFocus } from './judge-focus.ts';
import { headlineOf } from './judge-headline.ts';
import { ownLimits, reasonsAgainst, wordOn } from './judge-limits.ts';
import { judgeGusts, judgePlaces } from './judge-motion.ts';
import { judgeClouds, judgeFading, judgeSkyLight } from './judge-sky.ts';
import { stretchesOf } from './judge-stretch.ts';
import { runPoints } from './run-points.ts';

/** A run in one look: what happened when, which frames are good, the sentence and the next move. */
export function judgeRun(
  frames: readonly (readonly [key: string, frame: RunFrame])[],
  options: JudgeOptions,
): RunJudgement {
  const points = runPoints(frames, options);
  const size = sizeOf(points);
  const focusing = isFocusing(points, options.positions);
  const marks = focusing ? [...judgeSkyLight(points), ...judgePlaces(points)] : marksOf(points, size);
  const own = focusing ? NO_LIMITS : ownLimits(points, size);
  const limits = { ...own, ...options.limits };
  const reasons = reasonsAgainst(points, size, limits);
  const kept = points.map((point, i) => wordOn(point, reasons[i], options.words));
  const long = points.filter(
    ({ elongation }) => limits.elongation !== null && (elongation?.value ?? 0) > limits.elongation,
  );
  const happened = (i: number) => marks.some(({ from, to }) => i >= from && i <= to);
  const wide = points.filter(
    (point, i) =>
      !kept[i] && !happened(i) && limits.sizePx !== null && (point[size]?.value ?? 0) > limits.sizePx,
  );
  return {
    points,
    size,
    marks,
    limits,
    ownLimits: own,
    reasons,
    kept,
    ...headlineOf(points, kept, marks, long.length, wide.length),
  };
}

/**
 * Frames at many focus positions are meant to differ: out of focus stars are wide and faint, and astigmatism makes them
 * long. None is to be left out for that, and nothing of it is weather.
 */
function isFocusing(points: readonly RunPoint[], told: JudgeOptions['positions']): boolean {
  const positions = new Set(points.flatMap(({ key, focusPosition }) => told[key] ?? focusPosition ?? []));
  return positions.size >= 3 && 4 * positions.size >= points.length;
}
const NO_LIMITS = { sizePx: null, elongation: null, brightness: null, stars: null, noise: null };

/** FWHM where nine tenths of the frames with shapes have one; rings and double images have none. */
function sizeOf(points: readonly RunPoint[]): 'fwhmPx' | 'hfdPx' {
  const shaped = points.filter(({ hfdPx, fwhmPx }) => hfdPx !== null || fwhmPx !== null);
  return shaped.filter(({ fwhmPx }) => fwhmPx !== null).length >= 0.9 * shaped.length ? 'fwhmPx' : 'hfdPx';
}

/** All that happened, in order of time. */
export function marksOf(points: readonly RunPoint[], size: 'fwhmPx' | 'hfdPx'): Mark[] {
  const parts = stretchesOf(points);
  const last = parts.at(-1);
  const fading = parts.flatMap((part) => judgeFading(part, part === last));
  const clouds = judgeClouds(points, fading);
  const clouded = (i: number) => clouds.some(({ from, to }) => i >= from && i <= to);
  return [
    ...parts.flatMap((part) => judgeFocus(part, size, part === last)),
    ...fading,
    ...clouds,
    ...judgeSkyLight(points),
    ...judgeGusts(points, clouded),
    ...judgePlaces(points),
  ].sort((p, q) => p.from - q.from || p.to - q.to);
}
