import { blurBudget } from '../fit/budget.ts';
import { budgetInput } from '../fit/drawn-field.ts';
import { arcsecPerPixel, type FieldFit } from '../fit/field-fit.ts';
import { P } from '../fit/parameters.ts';
import { fieldModel } from '../fit/model-report.ts';
import type {
  BudgetEntry,
  BudgetPart,
  Cause,
  CauseEntry,
  FieldModel,
  FrameReport,
  Verdict,
} from '../protocol/report.ts';
import { FAMILY } from '../fit/causes.ts';
import type { Rig } from '../protocol/rig.ts';
import { weighCauses } from './causes.ts';
import type { WeighedCause } from './causes.ts';
import { aboveLimit, fromGap, misfitCap, normalCdf } from './confidence.ts';
import { goodEnough, headline } from './headline.ts';
import type { MoveContext } from './move.ts';
import { nextMoves } from './next-moves.ts';
import { standIn } from './other-story.ts';
import { roundCircle } from './round-circle.ts';
import {
  ASTIGMATISM_BEFORE_FOCUS,
  DECIDERS,
  LAST_RESORT,
  LEAST_SIGNIFICANCE,
  POOR_AGAINST_USUAL,
  POOR_ROUND_BLUR_ARCSEC,
  WORTH_NAMING,
} from './rules.ts';

/** The parts of the report that the field fit fills in. */
export interface Judgement {
  model: FieldModel;
  budget: BudgetEntry[];
  causes: CauseEntry[];
  verdict: Verdict;
  warnings: string[];
}

/** Below this the verdict names the frame that would decide. */
const SURE = 0.9;

/** From a fit to what a person should know and do. */
export function verdictOf(
  fit: FieldFit,
  measured: Pick<FrameReport, 'frame' | 'sensor'>,
  rig: Rig,
): Judgement {
  const model = fieldModel(fit);
  const budget = blurBudget(budgetInput(fit));
  const weighed = weighCauses(fit, budget);
  const corners = budget.find(({ where }) => where === 'corners')!.variancePx2;
  const decision = decide(
    fit,
    weighed,
    corners,
    roundBlurArcsec(fit),
    rig,
    misfitCap(fit, measured.sensor.fwhmPx?.value ?? null),
  );
  const { cause: named, confidence, rival, excused } = decision;
  const chosen = weighed.find((entry) => entry.cause === named);
  const leftPx = chosen?.cornerFwhmWithoutPx ?? null;
  const verdict: Verdict = {
    family: FAMILY[named],
    cause: named,
    confidence,
    headline: excused
      ? goodEnough(confidence, excused.cause, excused.times)
      : headline(named, confidence, model, { cornerFwhmPx: fit.cornerFwhmPx, withoutPx: leftPx }),
    next: nextMoves(named, moveContext(fit, model, measured, rig, corners, leftPx)),
    decider: confidence < SURE ? deciderBetween(named, rival) : null,
  };
  return {
    model,
    budget,
    causes: weighed.map(({ cause, family, cornerShare, significance, cornerFwhmWithoutPx }) => ({
      cause,
      family,
      cornerShare,
      significance,
      cornerFwhmWithoutPx,
    })),
    verdict,
    warnings: fit.warnings,
  };
}

/** What no turn of a screw takes away. */
const unavoidable = (corners: Record<BudgetPart, number>) =>
  corners.roundBlur + corners.diffraction + corners.pixel;

/** Where coma of the field stays below what is worth naming. */
export const circleWithoutComa = (fit: FieldFit, corners: BudgetEntry['variancePx2']) =>
  roundCircle(fit, WORTH_NAMING.coma.share * unavoidable(corners));

/** What a piece of advice may refer to; `leftPx`: the corners' width once its cause is gone. */
export const moveContext = (
  fit: FieldFit,
  model: FieldModel,
  measured: Pick<FrameReport, 'frame'>,
  rig: Rig,
  corners: BudgetEntry['variancePx2'],
  leftPx: number | null,
): MoveContext => ({
  model,
  rig,
  focalRatio: fit.known.focalRatio ? fit.optics.focalRatio : null,
  exposureS: measured.frame?.exposureS ?? null,
  leftPx: leftPx ?? fit.cornerFwhmPx,
  roundCircle: circleWithoutComa(fit, corners),
});

interface Decision {
  cause: Cause;
  confidence: number;
  rival: Cause;
  /** What the user's own limit lets pass, and how many times wider it leaves the corners. */
  excused?: { cause: Cause; times: number };
}

function decide(
  fit: FieldFit,
  weighed: WeighedCause[],
  corners: Record<BudgetPart, number>,
  blurArcsec: number | null,
  rig: Rig,
  cap: number,
): Decision {
  const base = unavoidable(corners);
  const limitOf = (entry: WeighedCause) => WORTH_NAMING[entry.key].share * base;
  const worthy = weighed.filter(
    (entry) => entry.significance >= LEAST_SIGNIFICANCE && entry.cornerVariancePx2 > limitOf(entry),
  );
  if (worthy.length === 0) return roundField(weighed, base, blurArcsec, rig, cap);

  let [first] = worthy;
  const astigmatism = worthy.find(({ key }) => key === 'astigmatism');
  if (
    first.key === 'focus' &&
    astigmatism &&
    astigmatism.cornerVariancePx2 > ASTIGMATISM_BEFORE_FOCUS * first.cornerVariancePx2
  )
    first = astigmatism;
  const times = Math.sqrt(corners.total / base);
  if (rig.goodEnough && times <= rig.goodEnough) {
    const confidence = Math.min(cap, aboveLimit(rig.goodEnough ** 2, times ** 2));
    return { cause: 'clean', confidence, rival: first.cause, excused: { cause: first.cause, times } };
  }
  const second = weighed.find((entry) => entry !== first && entry.key !== 'focus') ?? null;
  const usual = rig.usualSeeingArcsec;
  if (usual && blurArcsec && blurArcsec > POOR_AGAINST_USUAL * usual) {
    const blur = base * (1 - (usual / blurArcsec) ** 2);
    if (blur > weighed.reduce((sum, entry) => sum + entry.cornerVariancePx2, 0))
      return { cause: 'seeing', confidence: Math.min(cap, 0.9), rival: first.cause };
  }

  // Colours are measured apart from the fit: no other model of the green stars can take their place.
  const nearest = first.key === 'dispersion' ? null : (fit.rivals[0] ?? null);
  let confidence = Math.min(cap, nearest ? fromGap(nearest.gap) : cap);
  let rival: Cause = nearest ? standIn(fit, nearest, first.key) : 'clean';
  const threshold = aboveLimit(first.cornerVariancePx2, limitOf(first));
  if (threshold < confidence) rival = 'clean';
  confidence = Math.min(confidence, threshold);
  if (second && second.cornerVariancePx2 > 0) {
    const order = aboveLimit(first.cornerVariancePx2, second.cornerVariancePx2, spreadOf(first, second));
    if (order < confidence) rival = second.cause;
    confidence = Math.min(confidence, order);
  }
  // In one colourless frame a short even trail may as well be the colours that the air spreads.
  if (first.cause === 'trailing' && fit.path === 'straight' && !fit.dispersionPx) {
    const length = fit.theta.length > 0 ? trailArcsec(fit) : null;
    if (length !== null && length < AIR_SPREADS_ARCSEC && confidence > 0.85) {
      confidence = 0.85;
      rival = 'dispersion';
    }
  }
  return { cause: first.cause, confidence, rival };
}

/** What the air spreads visible light by at 30 degrees above the horizon (common practice, no source). */
const AIR_SPREADS_ARCSEC = 2;

/** No cause is worth naming: clean, or round blur that is worse than it should be. */
function roundField(
  weighed: WeighedCause[],
  base: number,
  blurArcsec: number | null,
  rig: Rig,
  cap: number,
): Decision {
  const closest = [...weighed]
    .map((entry) => ({ entry, ratio: entry.cornerVariancePx2 / (WORTH_NAMING[entry.key].share * base) }))
    .sort((a, b) => b.ratio - a.ratio)[0];
  const clean = closest ? aboveLimit(1, closest.ratio) : 0.99;
  const other: Cause = closest?.entry.cause ?? 'focus';
  if (blurArcsec === null) return { cause: 'clean', confidence: Math.min(cap, clean, 0.95), rival: other };
  const limit = rig.usualSeeingArcsec ? POOR_AGAINST_USUAL * rig.usualSeeingArcsec : POOR_ROUND_BLUR_ARCSEC;
  // What is usual is known to a fifth where the user says it, and hardly at all where nobody does.
  const poor = normalCdf(Math.log(blurArcsec / limit) / (rig.usualSeeingArcsec ? 0.12 : 0.2));
  const cause: Cause = poor > 0.5 ? 'seeing' : 'clean';
  const sure = Math.max(poor, 1 - poor);
  return {
    cause,
    confidence: Math.min(cap, clean, sure),
    rival: sure < clean ? (cause === 'clean' ? 'seeing' : 'clean') : other,
  };
}

/** How far the two leading variances may be from what they seem, in logarithms. */
function spreadOf(first: WeighedCause, second: WeighedCause): number {
  const relative = (entry: WeighedCause) => 2 / Math.max(entry.significance, 1);
  return Math.max(0.12, Math.hypot(relative(first), relative(second)));
}

function deciderBetween(cause: Cause, rival: Cause): Verdict['decider'] {
  const rule = DECIDERS.find(
    ({ between: [a, b] }) =>
      (a.includes(cause) && b.includes(rival)) || (b.includes(cause) && a.includes(rival)),
  );
  const { experiment, say } = rule ?? LAST_RESORT;
  return { experiment, do: say, between: [cause, rival] };
}

/** Round blur in arc seconds; null when the scale is unknown. */
function roundBlurArcsec(fit: FieldFit): number | null {
  const scale = arcsecPerPixel(fit);
  return scale === null ? null : Math.exp(fit.theta[P.lnBlur]) * scale;
}

function trailArcsec(fit: FieldFit): number | null {
  const scale = arcsecPerPixel(fit);
  return scale === null ? null : Math.hypot(fit.theta[P.motionX], fit.theta[P.motionY]) * scale;
}
