import { quantile } from '../math/robust.ts';
import type { JudgeOptions, RunLimits, RunPoint } from '../protocol/run.ts';
import { clearness } from './judge-sky.ts';
import { bestTenth } from './trend.ts';

/**
 * Limits that follow from the run itself; common practice, no source: a frame a quarter wider than the good ones costs
 * the stack more than it gives, 1.3 is where an eye sees stars as long.
 */
const SIZE_OVER_GOOD = 1.25;
const LONG = 1.3;
const LONG_OVER_GOOD = 0.15;
const LEAST_LIGHT = 0.7;
const LEAST_STARS = 0.5;
const MOST_NOISE = 1.5;
/** Fewer frames than this cannot say what is usual. */
const FEWEST = 5;

export function ownLimits(points: readonly RunPoint[], size: 'fwhmPx' | 'hfdPx'): RunLimits {
  const sizes = points.map((point) => point[size]?.value ?? NaN);
  const long = points.map(({ elongation }) => elongation?.value ?? NaN);
  const usual = points.length >= FEWEST;
  const good = quantile(sizes, 0.25);
  const goodLong = quantile(long, 0.25);
  return {
    sizePx: usual && Number.isFinite(good) ? round(SIZE_OVER_GOOD * good, 2) : null,
    // Stars that optics make long in every frame are no reason to drop them all.
    elongation: Number.isFinite(goodLong) ? round(Math.max(LONG, goodLong + LONG_OVER_GOOD), 2) : null,
    brightness: usual ? LEAST_LIGHT : null,
    stars: usual ? LEAST_STARS : null,
    noise: usual ? MOST_NOISE : null,
  };
}

const round = (value: number, decimals: number): number => Number(value.toFixed(decimals));

/** Per point: why it is better left out; empty = good. */
export function reasonsAgainst(
  points: readonly RunPoint[],
  size: 'fwhmPx' | 'hfdPx',
  limits: RunLimits,
): string[][] {
  const richest = bestTenth(
    points.map(({ stars }) => stars),
    'high',
  );
  const quietest = bestTenth(
    points.map(({ noiseAdu }) => noiseAdu ?? NaN),
    'low',
  );
  return points.map((point) => {
    if (point.fault !== null) return [point.fault];
    const reasons: string[] = [];
    const against = (
      limit: number | null,
      bad: (limit: number) => boolean,
      words: (limit: number) => string,
    ) => {
      if (limit !== null && bad(limit)) reasons.push(words(limit));
    };
    const width = point[size]?.value ?? NaN;
    const light = clearness(point);
    const noise = (point.noiseAdu ?? NaN) / quietest;
    against(
      limits.sizePx,
      (limit) => width > limit,
      (limit) => `Stars ${width.toFixed(1)} px wide, over ${limit} px.`,
    );
    against(
      limits.elongation,
      (limit) => (point.elongation?.value ?? NaN) > limit,
      (limit) => `Stars ${point.elongation!.value.toFixed(2)} times as long as wide, over ${limit}.`,
    );
    against(
      limits.brightness,
      (limit) => light < limit,
      (limit) => `Only ${percent(light)} of the light of the clear frames, under ${percent(limit)}.`,
    );
    against(
      limits.stars,
      (limit) => point.stars < limit * richest,
      (limit) =>
        `${point.stars} stars, under ${percent(limit)} of the ${Math.round(richest)} of the rich frames.`,
    );
    against(
      limits.noise,
      (limit) => noise > limit,
      (limit) => `The sky is ${noise.toFixed(1)} times as noisy as in the dark frames, over ${limit}.`,
    );
    return reasons;
  });
}

const percent = (share: number): string => `${Math.round(100 * share)} %`;

export const wordOn = (point: RunPoint, reasons: string[], words: JudgeOptions['words']): boolean =>
  words[point.key] ? words[point.key] === 'keep' : reasons.length === 0;
