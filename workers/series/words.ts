import type { KeptShare, SeriesResult, TrackOptions } from '../protocol/series.ts';
import type { MotionFit } from './fit-motion.ts';
import { driftNotes, hiddenNotes, jumpNotes, periodicNotes, turnNotes } from './motion-words.ts';
import { seconds } from './plain-words.ts';

/** Chances of loss as hands count them. */
const WORDS: [number, string][] = [
  [1 / 2, 'one frame in two'],
  [1 / 3, 'one frame in three'],
  [1 / 4, 'one frame in four'],
  [1 / 5, 'one frame in five'],
  [1 / 10, 'one frame in ten'],
  [1 / 20, 'one in twenty'],
];

type Words = Pick<SeriesResult, 'headline' | 'notes'>;

/** What a run means, in sentences: first what to do, then reasons and cautions, the weightiest first. */
export function trackingWords(
  result: SeriesResult,
  fit: MotionFit | null,
  everyFrame: boolean,
  options: TrackOptions & { limitPx: number },
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
    headline: exposureWords(result, exposureS, options.limitPx),
    notes: [
      ...shapeNotes(result),
      ...driftNotes(result, fit, exposureS),
      ...periodicNotes(result, exposureS),
      ...hiddenNotes(result, options.periodS ?? null),
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
      'and the motion from frame to frame does not explain it: the mount swings or is shaken while the shutter is open. Take a run of short exposures without pauses to see how.'
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
      `${frameCount(moved.length)} moved while the shutter was open (${listed(moved.map((frame) => result.frames.indexOf(frame) + 1))}): a gust, a knock, or a swing too fast to be seen from frame to frame.`,
    );
  if (count('tracking'))
    lines.push(
      `In ${frameCount(count('tracking'))} the stars are as long as the motion of the mount makes them: it is the tracking, not the optics.`,
    );
  if (count('optics') + count('both') > shapes.length / 2)
    lines.push(
      'In most frames the stars are longer than the motion of the mount makes them: look at focus and optics.',
    );
  return lines;
}
const frameCount = (count: number): string => (count === 1 ? '1 frame' : `${count} frames`);

/** "number 3, 8 and 12"; a long list is cut short. */
function listed(numbers: number[]): string {
  const shown = numbers.slice(0, MOST_LISTED);
  const rest = numbers.length - shown.length;
  const last = rest > 0 ? `${rest} more` : String(shown.pop());
  return `number ${shown.length ? `${shown.join(', ')} and ` : ''}${last}`;
}
const MOST_LISTED = 8;

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
