import type { FocusRunResult } from '../protocol/focus-run.ts';
import type { Estimate } from '../protocol/report.ts';
import { asKnown } from '../rig/plain-number.ts';
import { roughly } from './plain-words.ts';

type Answer = Omit<FocusRunResult, 'headline' | 'notes'>;

/** A difference is told from two standard errors on. */
const CLEAR = 2;
/** What counts as worth an evening's work: corners larger by this part than a square sensor would have them. */
const WORTH = 0.05;
/** Less than this is not told as a difference anywhere. */
const SHOWS = 0.02;
/** Steps told and geometry differ by more than this: one of them is wrong. */
const DISAGREE = 0.15;

const sizeOf = ({ value, sigma }: Estimate): Estimate => ({ value: Math.abs(value), sigma });
/** Radius of a curvature in 1/m. */
const radiusMm = ({ value, sigma }: Estimate): Estimate => {
  const radius = 1000 / Math.abs(value);
  return { value: radius, sigma: radius * Math.abs(sigma / value) };
};
const percent = (part: number): string => `${Math.round(100 * part)} %`;

/** Towards which side of the picture as it is stored. */
export function sideOf(directionDeg: number): string {
  const names = [
    'right edge',
    'lower right corner',
    'lower edge',
    'lower left corner',
    'left edge',
    'upper left corner',
    'upper edge',
    'upper right corner',
  ];
  return names[((Math.round(directionDeg / 45) % 8) + 8) % 8];
}

/** One sentence: what to do. */
export function focusHeadline(answer: Answer): string {
  const best = answer.compromisePosition;
  const go = `Best focus is at position ${asKnown(best)}`;
  if (answer.outside)
    return `${go}, outside the positions photographed: take a few more frames on that side before trusting it.`;
  const gain = 1 - answer.sizes.square.cornersHfdPx / answer.sizes.now.cornersHfdPx;
  const { tilt } = answer;
  if (tilt && tilt.umPerMm.value > CLEAR * tilt.umPerMm.sigma && gain > WORTH)
    return `${go}. The sensor leans: squaring it would make the corners' stars ${percent(gain)} smaller.`;
  if (tilt && tilt.umPerMm.value > CLEAR * tilt.umPerMm.sigma && gain > SHOWS)
    return `${go}. The sensor leans a little: squaring it would make the corners' stars only ${percent(gain)} smaller.`;
  return `${go}; squaring the sensor would gain nothing that shows.`;
}

/** Reasons and cautions, the weightiest first. */
export function focusNotes(answer: Answer): string[] {
  const notes: string[] = [];
  const { tilt, report, umPerStepByGeometry: geometry } = answer;
  for (const { record, why } of answer.leftOut) notes.push(`Frame ${record + 1} is left out: ${why}.`);
  if (!report.umPerStep)
    notes.push(
      'How far a step moves the sensor is not known: tell focal length, aperture and pixel size, or the micrometres per step.',
    );
  else if (!answer.signTold)
    notes.push(
      'Nobody said which way larger positions go: they are taken to move the sensor away from the telescope. If they move it inwards, tilt and curvature change their signs.',
    );
  if (report.umPerStep && answer.signTold && geometry) {
    const ratio = geometry.value / Math.abs(report.umPerStep.value);
    if (
      Math.abs(Math.log(ratio)) > DISAGREE &&
      Math.abs(ratio - 1) > (3 * geometry.sigma) / Math.abs(report.umPerStep.value)
    )
      notes.push(
        `The stars grow as if a step were ${roughly(geometry)} µm, not ${roughly(sizeOf(report.umPerStep))} µm: check focal ratio, pixel size and the steps.`,
      );
  }
  if (tilt && tilt.umPerMm.value > CLEAR * tilt.umPerMm.sigma)
    notes.push(
      `The ${sideOf(tilt.directionDeg.value)} of the picture lies farther from the telescope: ${roughly(sizeOf(tilt.acrossCornersUm))} µm from corner to corner, ${roughly(sizeOf(tilt.arcmin))} arc minutes.`,
    );
  const flat = 1 - answer.sizes.squareAndFlat.cornersHfdPx / answer.sizes.square.cornersHfdPx;
  const { curvaturePerM: curved } = report;
  if (curved && Math.abs(curved.value) > CLEAR * curved.sigma && flat > WORTH)
    notes.push(
      `The focal surface is curved (radius ${roughly(radiusMm(curved))} mm): a flattener would make the corners ${percent(flat)} smaller, squaring will not.`,
    );
  return notes;
}
