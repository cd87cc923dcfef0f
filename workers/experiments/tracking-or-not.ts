import type { Judgement, Told } from '../protocol/experiment.ts';
import type { Cause } from '../protocol/report.ts';
import { judged, lnGauss, lnMix, priorOf, voided, type Odds } from './bayes.ts';
import { lnLengths, lnTrails, lnWidth } from './compare.ts';
import { elongationOfParts, type Evidence } from './evidence.ts';

/** Of trails seen in one frame this share is steady drift; gusts, swings and knocks are the rest (our own guess). */
const STEADY = 0.65;
/** Air changes a star's width from frame to frame by this part, other things by that (common practice, no source). */
const AIR_CHANGES = 0.12;
const ELSE_CHANGES = 0.04;
/** Exposures that differ by less say nothing. */
const LEAST_CHANGE = 1.25;

const TRACKING: readonly Cause[] = ['trailing', 'rotation'];

/**
 * Frames of another exposure: a steady drift's length follows the exposure, so its quadrupole the square of it; a gust or a
 * swing does as it likes; what the optics do stays.
 */
export function judgeExposure(before: Evidence, after: Evidence[]): Judgement {
  const prior = priorOf(before.report, ['trailing'], 'astigmatism');
  const first = before.exposureS;
  const times = after.map(({ exposureS }) => exposureS);
  if (!first || times.some((time) => !time))
    return voided(
      'halve-exposure',
      prior,
      'The exposure times are not known: tell them under File, then drop the frames again.',
    );
  if (times.some((time) => Math.max(time! / first, first / time!) < LEAST_CHANGE))
    return voided(
      'halve-exposure',
      prior,
      'The exposure is the same as before: take the frames with half of it.',
    );
  const factor = (frame: Evidence) => (frame.exposureS! / first) ** 2;
  const ln = (cause: Cause) => {
    if (cause === 'trailing') return lnTrails(before, after, factor, STEADY);
    return after.reduce((sum, frame) => {
      const times = cause === 'rotation' ? factor(frame) : 1;
      return sum + lnLengths(before, frame, times, times);
    }, 0);
  };
  return judged('halve-exposure', prior, ln, [
    `Elongation ${shown(before)} at ${first} s; ${after.map((frame) => `${shown(frame)} at ${frame.exposureS} s`).join(', ')}.`,
    `A steady drift would leave ${shownParts(before, (times[0]! / first) ** 2)}; the optics would leave ${shown(before)}.`,
  ]);
}

/** The next frame or several, nothing touched: what repeats is no accident. */
export function judgeRepeats(
  kind: 'next-frame' | 'more-frames',
  before: Evidence,
  after: Evidence[],
): Judgement {
  const prior = priorOf(
    before.report,
    [],
    before.report.verdict?.cause === 'trailing' ? 'astigmatism' : 'trailing',
  );
  const ln = (cause: Cause) =>
    after.reduce((sum, frame) => sum + lnWidths(cause, before, frame), 0) +
    (cause === 'trailing'
      ? lnTrails(before, after, () => 1, STEADY)
      : after.reduce((sum, frame) => sum + lnLengths(before, frame, 1), 0)) +
    ownVerdicts(prior, cause, after);
  return judged(kind, prior, ln, [
    `Elongation ${shown(before)} before, ${after.map(shown).join(', ')} after.`,
    `Width ${width(before)} px before, ${after.map(width).join(', ')} after.`,
  ]);
}

function lnWidths(cause: Cause, before: Evidence, frame: Evidence): number {
  const change = cause === 'seeing' ? AIR_CHANGES : ELSE_CHANGES;
  return lnMix([
    [0.9, lnWidth(before, frame, change)],
    [0.1, lnWidth(before, frame, 0.5)],
  ]);
}

/** What the new frames' own verdicts add, at half weight: the same optics mislead them the same way. */
function ownVerdicts(prior: Odds, cause: Cause, after: Evidence[]): number {
  let sum = 0;
  for (const { report } of after) {
    const { verdict } = report;
    if (!verdict || prior[verdict.cause] === undefined) continue;
    const share =
      verdict.cause === cause
        ? verdict.confidence
        : (1 - verdict.confidence) / Math.max(1, Object.keys(prior).length - 1);
    sum += 0.5 * Math.log(Math.max(share, 0.02));
  }
  return sum;
}

/** A narrow filter takes away what the air spreads by colour; everything else stays. */
export function judgeFilter(before: Evidence, after: Evidence[], told: Told): Judgement {
  const prior = priorOf(before.report, ['dispersion'], 'astigmatism');
  if (!told.refocused)
    return voided(
      'change-filter',
      prior,
      'The filter moved the focus: set the focus again, take the frame again, and say that you did. Until then the test is void.',
    );
  const ln = (cause: Cause) => {
    if (TRACKING.includes(cause)) return lnTrails(before, after, () => 1, STEADY);
    return after.reduce((sum, frame) => {
      if (cause !== 'dispersion') return sum + lnLengths(before, frame, 1);
      const spread = lnMix([
        [0.45, lnLengths(before, frame, 0.1)],
        [0.25, lnLengths(before, frame, 0.3)],
        // The filter was taken out instead of put in: more colours, more spread.
        [0.3, lnLengths(before, frame, 2.5)],
      ]);
      return sum + spread;
    }, 0);
  };
  return judged('change-filter', prior, ln, [
    `Elongation ${shown(before)} before, ${after.map(shown).join(', ')} after.`,
  ]);
}

/** Half of the pupil: a defocused star becomes half a disc, long along the card's edge; a star wide by air stays round. */
export function judgeHalfAperture(before: Evidence, after: Evidence[], told: Told): Judgement {
  const prior = priorOf(before.report, ['focus', 'seeing']);
  // Half a disc of radius R: variance R²/4 along the edge, R²/4 - (4R/3π)² across (elementary).
  const lost = (4 / (3 * Math.PI)) ** 2;
  const ln = (cause: Cause) =>
    after.reduce((sum, frame) => {
      const loose = (0.06 * before.width.value) ** 2;
      const at = (q1: number, q2: number, widthPx2: number) =>
        lnGauss(frame.q1.value - q1, frame.q1.variance + loose) +
        lnGauss(frame.q2.value - q2, frame.q2.variance + loose) +
        lnGauss(frame.width.value - widthPx2, frame.width.variance + (0.25 * before.width.value) ** 2);
      if (cause !== 'focus') return sum + at(before.q1.value, before.q2.value, before.width.value);
      const parts: [number, number][] = [];
      for (const share of [0.4, 0.65, 0.9]) {
        const missing = 4 * lost * share * before.width.value;
        const angles =
          told.coveredDeg == null ? Array.from({ length: 12 }, (_, i) => 15 * i) : [told.coveredDeg + 90];
        for (const angle of angles) {
          const turn = (2 * angle * Math.PI) / 180;
          const length = missing / 2;
          parts.push([
            1 / (3 * angles.length),
            at(
              before.q1.value + length * Math.cos(turn),
              before.q2.value + length * Math.sin(turn),
              before.width.value - length,
            ),
          ]);
        }
      }
      return sum + lnMix(parts);
    }, 0);
  return judged('half-aperture', prior, ln, [
    `Elongation ${shown(before)} with the whole tube, ${after.map(shown).join(', ')} with half of it: stars out of focus lose their half and become long, stars wide by air do not.`,
  ]);
}

export const shown = (frame: Evidence): string => shownParts(frame, 1);
const shownParts = ({ q1, q2, width: size }: Evidence, factor: number): string =>
  elongationOfParts(
    factor * q1.value,
    factor * q2.value,
    size.value + (factor - 1) * Math.hypot(q1.value, q2.value),
  ).toFixed(2);
const width = ({ report }: Evidence): string =>
  ((report.sensor.fwhmPx ?? report.sensor.hfdPx)?.value ?? NaN).toFixed(2);
