import type { SeriesResult } from '../protocol/series.ts';
import type { MotionFit } from './fit-motion.ts';
import { wayOnPicture } from '../rig/way-on-picture.ts';
import { lengthOf } from '../rig/tracking.ts';
import { roughly, seconds } from './plain-words.ts';

/** How the stars moved over the run, in sentences. A rate or turn is told from this many standard errors on. */
const SIGMAS = 3;
const WELL_KNOWN = 20;

export function driftNotes({ report }: SeriesResult, fit: MotionFit, exposureS: number | null): string[] {
  const { x, y } = report.driftPxPerMin;
  if (!x || !y) return [];
  const { value: rate, sigma } = lengthOf(x, y);
  if (rate < SIGMAS * sigma) return [`No steady drift: less than ${upTo(rate + 2 * sigma)} px a minute.`];
  const within =
    exposureS === null
      ? ''
      : `, ${lengthText(rate * (exposureS / 60))} in one exposure of ${seconds(exposureS)}`;
  const bend = fit.motion.spec.degree === 2 ? ' It changes during the run; this is the mean.' : '';
  return [
    `On the picture the stars drift ${wayOnPicture(x.value, y.value)}, about ${roughly({ value: rate, sigma })} px a minute${within}.${bend}`,
    'Slow drift in one direction leaves streaks in a stack: nudge the pointing a little every few frames.',
  ];
}

export function periodicNotes({ report: { periodic } }: SeriesResult, exposureS: number | null): string[] {
  if (!periodic) return [];
  const { amplitudePx, periodS } = periodic;
  // The most that a sine moves within a time: between equal heights either side of its middle.
  const most = (s: number) =>
    2 * amplitudePx.value * Math.sin(Math.PI * Math.min(0.5, Math.max(0, s) / periodS.value));
  const within =
    exposureS === null
      ? ''
      : `, at most ${lengthText(most(exposureS))} in one exposure of ${seconds(exposureS)}`;
  return [
    `Periodic error: the stars swing to and fro, about ${roughly(amplitudePx)} px to either side every ${roughly(periodS)} s${within}.`,
  ];
}

/**
 * What the frames come too seldom for, and whether the period that somebody knows of shows. Where the stars are longer than
 * the path foretells, the swing within the exposures has been seen; where they are not, it may still be there.
 */
export function hiddenNotes(
  { report, hiddenBelowS, frames }: SeriesResult,
  knownPeriodS: number | null,
): string[] {
  if (hiddenBelowS === null || report.used < FEWEST_FOR_SWING) return [];
  const lines: string[] = [];
  const shown = report.periodic && (knownPeriodS === null || report.periodic.periodS.value === knownPeriodS);
  if (knownPeriodS !== null && !shown)
    lines.push(
      `With the period of ${seconds(knownPeriodS)} that you gave no swing shows${knownPeriodS < hiddenBelowS ? ': it is too short for these frames' : ''}.`,
    );
  const within = frames.filter(({ shape }) => shape?.says === 'within').length;
  const every = `The frames come every ${seconds(hiddenBelowS / 2)}: a swing faster than ${seconds(hiddenBelowS)} hides between them`;
  if (within > 1)
    lines.push(`${every}. The stars of ${within} frames are longer than the path says, so there may be one.`);
  else if (!report.periodic) lines.push(`${every}.`);
  return lines;
}
/** Fewer frames are not searched for a swing. */
const FEWEST_FOR_SWING = 9;

export function turnNotes(
  { report: { rotationDegPerMin } }: SeriesResult,
  exposureS: number | null,
): string[] {
  const turn = rotationDegPerMin;
  if (!turn || Math.abs(turn.value) < SIGMAS * turn.sigma || Math.abs(turn.value) < 0.002) return [];
  const hour = { value: 60 * Math.abs(turn.value), sigma: 60 * turn.sigma };
  const within =
    exposureS === null
      ? ''
      : `, ${upTo(Math.abs(turn.value) * exposureS)} arc minutes in one exposure of ${seconds(exposureS)}`;
  return [
    `The picture turns ${turn.value > 0 ? 'clockwise' : 'anticlockwise'}, about ${roughly(hour)}° an hour${within}: stars far from the middle trail more than those in it.`,
  ];
}

export function jumpNotes({ jumps, report }: SeriesResult, everyFrame: boolean): string[] {
  // A swing of few frames a period looks like steps; where it is known well it is no caution.
  const swing = report.periodic?.amplitudePx;
  if (everyFrame && swing && swing.value > WELL_KNOWN * swing.sigma) return [];
  if (everyFrame)
    return [
      'From frame to frame the stars move unevenly: by your own nudges, by a swing that so few frames cannot show, or by something loose. Drift and swing are told only as well as that allows.',
    ];
  const kinds = (kind: string) => jumps.filter((jump) => jump.kind === kind);
  const lines: string[] = [];
  if (kinds('flip').length)
    lines.push('The field turned over: the other side of the pier, or a hand on the camera.');
  const nudges = kinds('dither').length;
  if (nudges)
    lines.push(
      `The pointing was nudged ${nudges === 1 ? 'once' : `${nudges} times`}; that is no fault and is not counted as drift.`,
    );
  for (const { frame, xPx, yPx } of kinds('jump'))
    lines.push(
      `Just before frame ${frame + 1} or during it the stars jumped ${upTo(Math.hypot(xPx.value, yPx.value))} px ${wayOnPicture(xPx.value, yPx.value)}: a cable, a knock, or slack in the gears.`,
    );
  return lines;
}

/** Two digits, whole from ten on. */
const upTo = (value: number): string => roughly({ value, sigma: 0 });
/** A length within one exposure; less than a twentieth of a pixel nobody sees. */
const lengthText = (px: number): string => (px < 0.05 ? 'nothing that shows' : `${upTo(px)} px`);
