import { LEAST_SIGNIFICANCE } from '../../workers/verdict/rules.ts';
import type { FrameRun } from './run-frame.ts';

/** One cause of a field: what share of the whole corner variance it has, in truth and as found. */
export interface Presence {
  cause: string;
  truth: number;
  found: number;
}

/** A cause of this share of the corner variance must be found, one of that share must not be made up. */
export const MUST_FIND = 0.12;
export const MUST_NOT_INVENT = 0.04;
/** Between the two, a cause counts as found from here on, if it is significant. */
const FOUND = 0.08;

export const missed = ({ truth, found }: Presence) => truth >= MUST_FIND && found < FOUND;
export const invented = ({ truth, found }: Presence) => truth <= MUST_NOT_INVENT && found >= FOUND;

/** Shares of all causes of a field of the project's own; empty where the truth does not part the defocus. */
export function presenceOf({ truth, judgement }: FrameRun): Presence[] {
  const corners = judgement?.budget.find(({ where }) => where === 'corners')?.variancePx2;
  const { defocusParts, cornerVariance } = truth;
  if (!corners || !defocusParts) return [];
  const base = corners.roundBlur + corners.diffraction + corners.pixel;
  const whole =
    base +
    cornerVariance.defocus +
    cornerVariance.coma +
    cornerVariance.astigmatism +
    cornerVariance.pinching +
    cornerVariance.motion +
    cornerVariance.dispersion;
  const entries: [string, number, string[]][] = [
    ['focus', defocusParts.focus, ['focus']],
    ['tilt', defocusParts.tilt, ['tilt']],
    ['curvature', defocusParts.curvature, ['curvature']],
    ['coma', cornerVariance.coma, ['coma', 'collimation']],
    ['astigmatism', cornerVariance.astigmatism, ['astigmatism']],
    ['pinching', cornerVariance.pinching, ['pinching']],
    ['motion', cornerVariance.motion, ['trailing', 'rotation']],
    ['dispersion', cornerVariance.dispersion, ['dispersion']],
    ['spherical', 0, ['spherical']],
  ];
  return entries.map(([cause, variance, names]) => {
    const entry = judgement!.causes.find((one) => names.includes(one.cause));
    const sure = entry !== undefined && entry.significance >= LEAST_SIGNIFICANCE;
    const amount = Object.entries(corners)
      .filter(([part]) => names.includes(part))
      .reduce((sum, [, value]) => sum + value, 0);
    return { cause, truth: variance / whole, found: sure ? amount / corners.total : 0 };
  });
}
