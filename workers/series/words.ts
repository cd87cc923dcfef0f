import type { Estimate } from '../protocol/report.ts';
import type { KeptShare, SeriesResult } from '../protocol/series.ts';
import type { MotionFit } from './fit-motion.ts';

/** Chances of loss as hands count them. */
const WORDS: [number, string][] = [
  [1 / 2, 'one frame in two'],
  [1 / 3, 'one frame in three'],
  [1 / 4, 'one frame in four'],
  [1 / 5, 'one frame in five'],
  [1 / 10, 'one frame in ten'],
  [1 / 20, 'one in twenty'],
];
/** A rate or turn is told from this many standard errors on. */
const SIGMAS = 3;

type Words = Pick<SeriesResult, 'headline' | 'notes'>;

/** What a run means, in sentences: first what to do, then reasons and cautions, the weightiest first. */
export function trackingWords(
  result: SeriesResult,
  fit: MotionFit | null,
  everyFrame: boolean,
  limitPx: number,
): Words {
  const { report, frames } = result;
  if (report.used < 2) return { headline: tooFew(result), notes: lostNotes(result) };
  if (report.path.every(({ timeS }) => timeS === null))
    return {
      headline:
        'The frames lie on each other, but none says when it was taken: no rates. Let the camera program write the time (DATE-OBS).',
      notes: lostNotes(result),
    };
  if (!fit)
    return {
      headline: 'The frames lie on each other, but all at the same moment: no rates.',
      notes: lostNotes(result),
    };
  const exposureS = frames.find(({ exposureS }) => exposureS !== null)?.exposureS ?? null;
  return {
    headline: exposureWords(result, exposureS, limitPx),
    notes: [
      ...shapeNotes(result),
      ...driftNotes(result, fit),
      ...periodicNotes(result),
      ...turnNotes(result, exposureS),
      ...jumpNotes(result, everyFrame),
      ...lostNotes(result),
    ],
  };
}

function tooFew({ report }: SeriesResult): string {
  if (report.frames === 1)
    return 'One frame is no run: take a second one of the same field, nothing touched.';
  return `${report.used === 0 ? 'None' : 'Only one'} of the ${report.frames} frames could be laid on the others: take them of one field, with the same camera settings.`;
}

/** "one frame in four is lost at 20 s, one in twenty at 8 s: keep 8 s, or keep 20 s and drop the bad ones" */
function exposureWords(result: SeriesResult, exposureS: number | null, limitPx: number): string {
  const { report, keeping } = result;
  const longest = report.longestExposureS;
  const limit = `${limitPx} px of trailing`;
  const moved = movedFrames(result).filter(({ shape }) => shape!.leftTrailPx.value > limitPx).length;
  if (!longest && moved > 1)
    return (
      `${moved} of ${report.used} frames trail by more than ${limitPx} px${exposureS === null ? '' : ` at ${seconds(exposureS)}`}, ` +
      'and the path from frame to frame does not explain it: the mount swings or is shaken within the exposures. Take a run of short exposures without pauses to see how.'
    );
  if (!longest?.share95 && !longest?.share50)
    return `The drift is too small, or the run too short, to say how long an exposure stays under ${limit}: longer than these.`;
  const safe = longest.share95 ?? longest.share90 ?? longest.share50!;
  const atNow = exposureS === null ? null : keptAt(keeping, exposureS);
  const even = longest.share50 && longest.share95 && longest.share50.value < 1.1 * longest.share95.value;
  if (exposureS !== null && atNow !== null && atNow < 0.9 && exposureS > 1.15 * safe.value) {
    if (atNow < 0.4)
      return (
        `At ${seconds(exposureS)} ${atNow < 0.02 ? 'nearly every frame trails' : 'most frames trail'} by more than ${limitPx} px, ` +
        `at ${seconds(safe.value)} one in twenty: keep ${seconds(safe.value)} or less.`
      );
    return (
      `${first(lostWords(1 - atNow))} is lost at ${seconds(exposureS)}, one in twenty at ${seconds(safe.value)}: ` +
      `keep ${seconds(safe.value)}, or keep ${seconds(exposureS)} and drop the bad ones.`
    );
  }
  if (even) return `Exposures up to ${seconds(safe.value)} stay under ${limit}.`;
  const more = longest.share50 ? ` (at ${seconds(longest.share50.value)} only every second one)` : '';
  const held = exposureS !== null && exposureS <= safe.value ? `, so ${seconds(exposureS)} is safe` : '';
  return `Nineteen frames in twenty stay under ${limit} at ${seconds(safe.value)}${more}${held}.`;
}

/** Share that is kept at a length, by the curve; beyond its end nothing is. */
function keptAt(keeping: readonly KeptShare[], exposureS: number): number | null {
  if (keeping.length === 0) return null;
  const after = keeping.findIndex((each) => each.exposureS >= exposureS);
  if (after < 0) return 0;
  const high = keeping[after];
  const low = after > 0 ? keeping[after - 1] : { exposureS: 0, share: { value: 1, sigma: 0 } };
  const part = (exposureS - low.exposureS) / (high.exposureS - low.exposureS);
  return low.share.value + part * (high.share.value - low.share.value);
}

function lostWords(share: number): string {
  return WORDS.reduce((a, b) =>
    Math.abs(Math.log(b[0] / share)) < Math.abs(Math.log(a[0] / share)) ? b : a,
  )[1];
}

const movedFrames = ({ frames }: SeriesResult) => frames.filter(({ shape }) => shape?.says === 'within');

/** What the elongation of the frames is owed to, where it is owed to anything. */
function shapeNotes(result: SeriesResult): string[] {
  const shapes = result.frames.flatMap(({ shape }) => (shape ? [shape] : []));
  const count = (says: string) => shapes.filter((shape) => shape.says === says).length;
  const lines: string[] = [];
  const moved = movedFrames(result);
  if (moved.length)
    lines.push(
      `${frameCount(moved.length)} moved within the exposure (frame ${moved.map(({ file }) => result.frames.findIndex((each) => each.file === file) + 1).join(', ')}): a gust, a knock, or a swing faster than the run shows.`,
    );
  if (count('tracking'))
    lines.push(
      `In ${frameCount(count('tracking'))} the path explains how long the stars are: it is the tracking.`,
    );
  if (count('optics') + count('both') > shapes.length / 2)
    lines.push('In most frames the stars are long without the path explaining it: look at the optics.');
  return lines;
}
const frameCount = (count: number): string => (count === 1 ? '1 frame' : `${count} frames`);

function driftNotes({ report }: SeriesResult, fit: MotionFit): string[] {
  const { x, y } = report.driftPxPerMin;
  if (!x || !y) return [];
  const rate = Math.hypot(x.value, y.value);
  const sigma = Math.hypot(x.value * x.sigma, y.value * y.sigma) / Math.max(rate, 1e-12);
  if (rate < SIGMAS * sigma)
    return [`No steady drift: less than ${(rate + 2 * sigma).toPrecision(2)} px a minute.`];
  const bend = fit.motion.spec.degree === 2 ? ' It changes during the run; this is the mean.' : '';
  const direction = Math.round((Math.atan2(y.value, x.value) * 180) / Math.PI);
  return [
    `The field drifts by ${told({ value: rate, sigma })} px a minute towards ${direction}° (from +x towards +y).${bend}`,
    'Slow drift in one direction leaves streaks in a stack: nudge the pointing a little every few frames.',
  ];
}

function periodicNotes({ report: { periodic } }: SeriesResult): string[] {
  if (!periodic) return [];
  const { amplitudePx, periodS } = periodic;
  const fastest = (2 * Math.PI * amplitudePx.value) / periodS.value;
  return [
    `Periodic error: ${told(amplitudePx)} px to either side every ${told(periodS)} s, at most ${fastest.toPrecision(2)} px a second.`,
  ];
}

function turnNotes({ report: { rotationDegPerMin } }: SeriesResult, exposureS: number | null): string[] {
  const turn = rotationDegPerMin;
  if (!turn || Math.abs(turn.value) < SIGMAS * turn.sigma || Math.abs(turn.value) < 0.002) return [];
  const within =
    exposureS === null ? '' : `, ${((60 * turn.value * exposureS) / 60).toFixed(1)}′ within one exposure`;
  return [
    `The field turns by ${told(turn)}° a minute${within}: stars far from the middle trail more than those in it.`,
  ];
}

function jumpNotes({ jumps }: SeriesResult, everyFrame: boolean): string[] {
  if (everyFrame)
    return [
      'The pointing changes with every frame: drift and periodic error are only as good as that allows.',
    ];
  const kinds = (kind: string) => jumps.filter((jump) => jump.kind === kind);
  const lines: string[] = [];
  if (kinds('flip').length)
    lines.push('The field turned over: the other side of the pier, or a hand on the camera.');
  if (kinds('dither').length) lines.push(`${kinds('dither').length} nudges of the pointing taken out.`);
  for (const { frame, xPx, yPx } of kinds('jump'))
    lines.push(
      `A jump of ${Math.hypot(xPx.value, yPx.value).toFixed(1)} px at frame ${frame + 1}: a cable, a knock, or slack in the gears.`,
    );
  return lines;
}

/** Why frames were left out, each reason once. */
function lostNotes({ frames }: SeriesResult): string[] {
  const reasons = new Map<string, number>();
  for (const { registration } of frames)
    if (!registration.ok) reasons.set(registration.sentence, (reasons.get(registration.sentence) ?? 0) + 1);
  return [...reasons].map(([sentence, count]) =>
    count === 1 ? `One frame left out: ${sentence}` : `${count} frames left out: ${sentence}`,
  );
}

const first = (text: string) => text[0].toUpperCase() + text.slice(1);
const seconds = (s: number): string => `${s < 10 ? s.toFixed(1).replace(/\.0$/, '') : Math.round(s)} s`;
/** Two digits of the error, as many of the value. */
function told({ value, sigma }: Estimate): string {
  const digits = sigma > 0 ? Math.min(4, Math.max(0, 1 - Math.floor(Math.log10(sigma)))) : 2;
  return `${value.toFixed(digits)} ± ${sigma.toFixed(digits)}`;
}
