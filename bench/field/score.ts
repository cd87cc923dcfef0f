import type { Estimate } from '../../workers/protocol/report.ts';
import { FAMILY } from '../../workers/fit/causes.ts';
import { ASTIGMATISM_BEFORE_FOCUS } from '../../workers/verdict/rules.ts';
import type { FrameRun } from './run-frame.ts';
import { presenceOf } from './presence.ts';
import type { Presence } from './presence.ts';
import { SHARE_KEYS } from './truth.ts';
import type { ShareKey } from './truth.ts';

/** One estimate against its truth. `scale`: size of the truth that errors are told relative to; 0 = a null. */
export interface Pull {
  name: string;
  error: number;
  sigma: number;
  scale: number;
  /** The model does without it: the error is the truth itself, the sigma how large it may be unseen. */
  leftOut?: boolean;
}

/** What came of one field, as plain numbers: it is written to a file as it stands. */
export interface Scored {
  name: string;
  /** Faults drawn. */
  faults: number;
  stars: number;
  truthCause: string;
  cause: string;
  right: boolean;
  familyRight: boolean;
  confidence: number;
  /** Largest error of a cause's share of the whole corner variance. */
  worstShare: number | null;
  /** Found minus true share of each cause. */
  shareErrors: Record<ShareKey, number> | null;
  pulls: Pull[];
  presence: Presence[];
  fitMs: number;
  measureMs: number;
  starJacobians: number;
  /** What the confidence was made of. */
  chi2PerDof: number | null;
  coherence: number | null;
  /** Distance of the nearest rival in priced chi squared; null without one. */
  gap: number | null;
}

/**
 * The dominant fault of a frame with several is the one with most variance in the corners, whether it was drawn as a
 * fault or came along; but astigmatism goes before a focus that would not cure it, as verdict/rules.ts has it. A truth
 * from the outside that does not part the defocus weighs it as a whole.
 */
function dominantCause({ truth }: FrameRun): string {
  const { causes, cornerVariance, defocusParts } = truth;
  if (causes.length === 1) return causes[0];
  const drawn = (...names: string[]) => names.find((name) => causes.includes(name as never)) ?? names[0];
  const weights: [string, number][] = [
    ...(defocusParts
      ? Object.entries(defocusParts)
      : [[drawn('focus', 'tilt', 'curvature'), cornerVariance.defocus] as [string, number]]),
    [drawn('coma', 'collimation'), cornerVariance.coma],
    ['astigmatism', cornerVariance.astigmatism],
    ['pinching', cornerVariance.pinching],
    [drawn('trailing', 'rotation'), cornerVariance.motion],
    ['dispersion', cornerVariance.dispersion],
  ];
  const [[first, most]] = weights.sort((a, b) => b[1] - a[1]);
  const astigmatismFirst = first === 'focus' && cornerVariance.astigmatism > ASTIGMATISM_BEFORE_FOCUS * most;
  return astigmatismFirst ? 'astigmatism' : first;
}

export function score(run: FrameRun): Scored {
  const { truth, judgement } = run;
  const truthCause = dominantCause(run);
  const cause = judgement?.verdict.cause ?? `fault ${run.fault?.code}`;
  const sameDefocus = (a: string) => a === 'focus' || a === 'tilt' || a === 'curvature';
  const right =
    cause === truthCause ||
    // Of three faults the parts of the defocus are not weighed against each other by a truth from the outside.
    (truth.causes.length > 1 &&
      !truth.defocusParts &&
      sameDefocus(truthCause) &&
      sameDefocus(cause) &&
      truth.causes.includes(cause as never));
  const { fit } = run;
  const shares = shareErrors(run);
  return {
    name: truth.name,
    faults: truth.causes.length,
    stars: truth.stars,
    truthCause,
    cause,
    right,
    familyRight:
      judgement !== null && FAMILY[judgement.verdict.cause] === FAMILY[truthCause as keyof typeof FAMILY],
    confidence: judgement?.verdict.confidence ?? 0,
    worstShare: shares && Math.max(...Object.values(shares).map(Math.abs)),
    shareErrors: shares,
    pulls: pullsOf(run),
    presence: presenceOf(run),
    fitMs: run.fitMs,
    measureMs: run.measureMs,
    starJacobians: fit?.effort.jacobians ?? 0,
    chi2PerDof: fit?.chi2PerDof ?? null,
    coherence: fit?.coherence ?? null,
    gap: fit?.rivals[0]?.gap ?? null,
  };
}

function shareErrors({ truth, judgement }: FrameRun): Record<ShareKey, number> | null {
  const corners = judgement?.budget.find(({ where }) => where === 'corners')?.variancePx2;
  if (!corners) return null;
  const found: Record<ShareKey, number> = {
    defocus: corners.focus + corners.tilt + corners.curvature + corners.cross,
    coma: corners.coma + corners.collimation,
    astigmatism: corners.astigmatism,
    pinching: corners.pinching,
    motion: corners.trailing + corners.rotation,
    dispersion: corners.dispersion,
  };
  const base = corners.roundBlur + corners.diffraction + corners.pixel;
  const total = (parts: Record<ShareKey, number>) => SHARE_KEYS.reduce((sum, key) => sum + parts[key], base);
  return Object.fromEntries(
    SHARE_KEYS.map((key) => [
      key,
      found[key] / total(found) - truth.cornerVariance[key] / total(truth.cornerVariance),
    ]),
  ) as Record<ShareKey, number>;
}

/** Errors over their stated sigmas, the hidden common sign of the even terms taken out. */
function pullsOf({ truth, judgement, fit }: FrameRun): Pull[] {
  if (!judgement || !fit) return [];
  const { model } = judgement;
  const even: [string, Estimate | null, number][] = [
    ['focusUm', model.focusUm, truth.focusUm],
    ['tiltX', model.tiltUmPerMm.x, truth.tiltUmPerMm.x],
    ['tiltY', model.tiltUmPerMm.y, truth.tiltUmPerMm.y],
    ['curvaturePerM', model.curvaturePerM, truth.curvaturePerM],
    ['astigmatismCos', model.astigmatismUm.cos, truth.astigmatismUm.cos],
    ['astigmatismSin', model.astigmatismUm.sin, truth.astigmatismUm.sin],
  ];
  const misfit = (sign: number) =>
    even.reduce(
      (sum, [, estimate, value]) =>
        // A term that the fit did not try says nothing about the sign.
        sum + (estimate && estimate.sigma > 0 ? ((estimate.value - sign * value) / estimate.sigma) ** 2 : 0),
      0,
    );
  const sign = misfit(1) <= misfit(-1) ? 1 : -1;
  const tilt = Math.hypot(truth.tiltUmPerMm.x, truth.tiltUmPerMm.y);
  const pulls: Pull[] = [];
  const add = (
    name: string,
    estimate: Estimate | null | undefined,
    value: number,
    scale = Math.abs(value),
  ) => {
    if (!estimate) return;
    const leftOut = estimate.value === 0;
    pulls.push({ name, error: estimate.value - value, sigma: estimate.sigma, scale, leftOut });
  };
  for (const [name, estimate, value] of even)
    add(name, estimate, sign * value, name.startsWith('tilt') ? tilt : Math.abs(value));
  add('roundBlurPx', model.roundBlurFwhmPx, truth.roundBlurPx);
  add('comaX', model.coma.constantUm.x, truth.comaConstantUm.x);
  add('comaY', model.coma.constantUm.y, truth.comaConstantUm.y);
  add('comaStrength', model.coma.strength, truth.comaStrength);
  add('trefoilCos', model.trefoilUm.cos, truth.trefoilUm.cos);
  add('trefoilSin', model.trefoilUm.sin, truth.trefoilUm.sin);
  if (truth.comaStrength > 0.5 && truth.comaCentreMm) {
    add('comaCentreX', model.coma.centreMm?.x, truth.comaCentreMm.x, 1);
    add('comaCentreY', model.coma.centreMm?.y, truth.comaCentreMm.y, 1);
  }
  if (truth.motion) {
    add('trailPx', model.motion.lengthPx, truth.motion.lengthPx);
    if (model.motion.angleDeg) {
      const turned = model.motion.angleDeg.value - truth.motion.angleDeg;
      const folded = turned - 180 * Math.round(turned / 180);
      pulls.push({ name: 'trailAngleDeg', error: folded, sigma: model.motion.angleDeg.sigma, scale: 1 });
    }
  }
  if (truth.rotation) {
    add('rotationDeg', model.rotation.angleDeg, truth.rotation.angleDeg);
    add('rotationCentreX', model.rotation.centreMm?.x, truth.rotation.centreMm.x, 1);
    add('rotationCentreY', model.rotation.centreMm?.y, truth.rotation.centreMm.y, 1);
  }
  return pulls;
}
