import { arcsecPerPixel, type FieldFit } from '../fit/field-fit.ts';
import { P } from '../fit/parameters.ts';
import type { BudgetPart, Cause } from '../protocol/report.ts';
import type { Rig } from '../protocol/rig.ts';
import type { WeighedCause } from './causes.ts';
import { normalCdf } from '../math/normal.ts';
import { aboveLimit, fromGap, misfitCap } from './confidence.ts';
import { contender, hiddenStory, standIn } from './other-story.ts';
import { NO_DOUBTS, type Doubts } from './doubts.ts';
import { findingOf, type Finding } from './plain/finding.ts';
import type { PlainLook } from './plain/plain-look.ts';
import { isSupported } from './plain/support.ts';
import {
  ASTIGMATISM_BEFORE_FOCUS,
  BARELY_A_MODEL,
  COARSE,
  DOUBTED,
  LEAST_SIGNIFICANCE,
  PHYSICS_HOLDS,
  PLAIN_WORDS,
  POOR_AGAINST_USUAL,
  POOR_ROUND_BLUR_ARCSEC,
  UNTOLD_AXIS,
  UNTOLD_OPTICS,
  WORTH_NAMING,
} from './rules.ts';

/** What a decision rests on. */
export interface Evidence {
  fit: FieldFit;
  weighed: WeighedCause[];
  /** Mean of the corners. */
  corners: Record<BudgetPart, number>;
  rig: Rig;
  /** Over the whole sensor, measured without the model. */
  fwhmPx: number | null;
  /** How the shapes run over the field, told without physics; null where too few stars tell. */
  look: PlainLook | null;
  doubts?: Doubts;
}

export interface Decision {
  cause: Cause;
  confidence: number;
  rival: Cause;
  /** How far the nearest explanation is that would change the verdict; left out where none was fitted. */
  gap?: number;
  /** What the user's own limit lets pass, and how many times wider it leaves the corners. */
  excused?: { cause: Cause; times: number };
  /** Said from the shapes alone, behind how sure that is: the model's numbers do not count. */
  sentence?: string;
  /** Said instead of a cause: nothing can be told. */
  headline?: string;
}

/** What no turn of a screw takes away. */
export const unavoidable = (corners: Record<BudgetPart, number>) =>
  corners.roundBlur + corners.diffraction + corners.pixel;

/** From what was fitted and seen to one cause, how sure it is, and what it may be instead. */
export function decide(evidence: Evidence): Decision {
  const decision = explain(evidence);
  const { doubts = NO_DOUBTS, fit, fwhmPx } = evidence;
  if (doubts.notAllStars)
    return {
      ...decision,
      confidence: Math.min(decision.confidence, DOUBTED.notStars),
      sentence: undefined,
      excused: undefined,
      headline: NOT_STARS,
    };
  const most = doubts.brightnessAltered
    ? DOUBTED.altered
    : fwhmPx !== null && fwhmPx < COARSE.px && !fit.known.focalRatio && decision.sentence === undefined
      ? COARSE.most
      : 1;
  return { ...decision, confidence: Math.min(decision.confidence, most) };
}

function explain(evidence: Evidence): Decision {
  const { fit, corners, rig, look } = evidence;
  const base = unavoidable(corners);
  const cap = misfitCap(fit, evidence.fwhmPx);
  // A supposed telescope that fits faint stars as well as any proves nothing: their shapes must show the cause too.
  const holds = fit.known.focalRatio && cap > PHYSICS_HOLDS;
  const finding = look && !holds ? findingOf(look) : null;
  if (finding?.cause === 'trailing' && !canTellTrails(fit)) return plainly(finding, evidence.weighed, cap);
  const weighed = evidence.weighed.filter(
    (entry) =>
      (fit.known.focalRatio || !isUntold(entry, base)) &&
      (holds || !look || isSupported(entry, fit, corners.total, look)),
  );
  const worthy = weighed.filter(
    ({ key, significance, cornerVariancePx2 }) =>
      significance >= LEAST_SIGNIFICANCE && cornerVariancePx2 > WORTH_NAMING[key].share * base,
  );
  if (worthy.length === 0) {
    if (finding) return plainly(finding, evidence.weighed, cap);
    const round = roundField({ ...evidence, weighed }, base, cap);
    return cap > BARELY_A_MODEL ? round : { ...round, confidence: Math.min(cap, 0.4), headline: NO_WORD };
  }

  const first = leading(worthy, corners);
  const times = Math.sqrt(corners.total / base);
  if (rig.goodEnough && times <= rig.goodEnough) {
    const confidence = Math.min(cap, aboveLimit(rig.goodEnough ** 2, times ** 2));
    return { cause: 'clean', confidence, rival: first.cause, excused: { cause: first.cause, times } };
  }
  const usual = rig.usualSeeingArcsec;
  const blurArcsec = roundBlurArcsec(fit);
  if (usual && blurArcsec && blurArcsec > POOR_AGAINST_USUAL * usual) {
    const blur = base * (1 - (usual / blurArcsec) ** 2);
    if (blur > weighed.reduce((sum, entry) => sum + entry.cornerVariancePx2, 0))
      return { cause: 'seeing', confidence: Math.min(cap, 0.9), rival: first.cause };
  }
  const decision = weighAgainstRivals({ ...evidence, weighed }, first, base, cap);
  return finding && decision.confidence < PLAIN_WORDS.rather
    ? plainly(finding, evidence.weighed, cap)
    : decision;
}

/** Whether the fit knows the telescope and describes its stars nearly: then it may tell a trail from astigmatism. */
const canTellTrails = (fit: FieldFit) => fit.known.focalRatio && fit.coherence < 0.1;

/** Widens all stars alike, and not so much that its own shape shows. */
const isUntold = ({ key, cornerVariancePx2 }: WeighedCause, base: number) =>
  key in UNTOLD_OPTICS.share && cornerVariancePx2 < UNTOLD_OPTICS.share[key]! * base;

/** The largest, but astigmatism before a focus that would not cure it. */
function leading(worthy: WeighedCause[], corners: Record<BudgetPart, number>): WeighedCause {
  const first = worthy.find((entry) =>
    worthy.every((other) => felt(entry, other, corners) >= felt(other, entry, corners)),
  )!;
  const astigmatism = worthy.find(({ key }) => key === 'astigmatism');
  return first.key === 'focus' &&
    astigmatism &&
    astigmatism.cornerVariancePx2 > ASTIGMATISM_BEFORE_FOCUS * first.cornerVariancePx2
    ? astigmatism
    : first;
}

const DEFOCUS: readonly WeighedCause['key'][] = ['focus', 'tilt', 'curvature'];

/**
 * What a cause adds to the corners, px^2, held against another one. Focus, tilt and curvature that cancel each other
 * there blur nothing: against all else they count no more than what is left of them together.
 */
function felt(entry: WeighedCause, other: WeighedCause, corners: Record<BudgetPart, number>): number {
  if (!DEFOCUS.includes(entry.key) || DEFOCUS.includes(other.key)) return entry.cornerVariancePx2;
  const together = corners.focus + corners.tilt + corners.curvature + corners.cross;
  return Math.min(entry.cornerVariancePx2, Math.max(together, 0));
}

/** Where the model does not describe the stars their shapes speak; more surely where it says the same. */
function plainly({ cause, rival, sentence }: Finding, weighed: WeighedCause[], cap: number): Decision {
  const agreed = weighed[0]?.cause === cause;
  const alone = cause === 'trailing' ? PLAIN_WORDS.alone : PLAIN_WORDS.pattern;
  const confidence = agreed ? Math.max(cap, PLAIN_WORDS.agreed) : alone;
  return { cause, confidence, rival, sentence };
}

const NOT_STARS =
  'Cannot tell: not all that was found here are stars. Point at a field with more stars and take the same frame.';
const NO_WORD =
  'Cannot tell: the model does not describe these stars, and no pattern over the field stands out.';

function weighAgainstRivals(
  { fit, weighed, corners }: Evidence,
  first: WeighedCause,
  base: number,
  cap: number,
): Decision {
  // Colours are measured apart from the fit: no other model of the green stars can take their place.
  const nearest = first.key === 'dispersion' ? null : contender(fit, first.key);
  let confidence = Math.min(cap, nearest ? fromGap(nearest.gap) : cap);
  let rival: Cause = nearest ? standIn(fit, nearest, first.key) : 'clean';
  const unless = (probability: number, other: Cause) => {
    if (probability >= confidence) return;
    confidence = probability;
    rival = other;
  };
  unless(aboveLimit(first.cornerVariancePx2, WORTH_NAMING[first.key].share * base), 'clean');
  for (const other of weighed) {
    if (other === first || other.key === 'focus') continue;
    const variance = felt(other, first, corners);
    if (variance > 0)
      unless(aboveLimit(felt(first, other, corners), variance, spreadOf(first, other)), other.cause);
  }
  if (first.cause === 'collimation' && !fit.known.focalRatio) unless(UNTOLD_AXIS, 'coma');
  // In one colourless frame a short even trail may as well be the colours that the air spreads.
  const length = first.cause === 'trailing' && fit.path === 'straight' ? trailArcsec(fit) : null;
  if (length !== null && length < AIR_SPREADS_ARCSEC && !fit.dispersionPx) unless(0.85, 'dispersion');
  return { cause: first.cause, confidence, rival, gap: nearest?.gap };
}

/** What the air spreads visible light by at 30 degrees above the horizon (common practice, no source). */
const AIR_SPREADS_ARCSEC = 2;

/** No cause is worth naming: clean, or round blur that is worse than it should be. */
function roundField({ weighed, rig, fit }: Evidence, base: number, cap: number): Decision {
  const blurArcsec = roundBlurArcsec(fit);
  const closest = [...weighed]
    .map((entry) => ({ entry, ratio: entry.cornerVariancePx2 / (WORTH_NAMING[entry.key].share * base) }))
    .sort((a, b) => b.ratio - a.ratio)[0];
  const clean = Math.min(
    closest ? aboveLimit(1, closest.ratio) : 0.99,
    fit.known.focalRatio ? 1 : UNTOLD_OPTICS.most,
  );
  const other: Cause = fit.known.focalRatio ? (closest?.entry.cause ?? 'focus') : 'focus';
  if (blurArcsec === null) return { cause: 'clean', confidence: Math.min(cap, clean, 0.95), rival: other };
  const limit = rig.usualSeeingArcsec ? POOR_AGAINST_USUAL * rig.usualSeeingArcsec : POOR_ROUND_BLUR_ARCSEC;
  // What is usual is known to a fifth where the user says it, and hardly at all where nobody does.
  const poor = normalCdf(Math.log(blurArcsec / limit) / (rig.usualSeeingArcsec ? 0.12 : 0.2));
  const cause: Cause = poor > 0.5 ? 'seeing' : 'clean';
  const sure = Math.max(poor, 1 - poor);
  // Few and faint stars hide a defocus; one all over would need better air than usual where the blur is not wide.
  const hidden = hiddenStory(fit, (key) =>
    key === 'focus' && cause === 'clean' && rig.usualSeeingArcsec ? Infinity : WORTH_NAMING[key].share * base,
  );
  const round = hidden ? fromGap(hidden.gap) : 1;
  if (hidden && round < Math.min(sure, clean))
    return { cause, confidence: Math.min(cap, round), rival: hidden.cause, gap: hidden.gap };
  return {
    cause,
    confidence: Math.min(cap, clean, sure),
    rival: sure < clean ? (cause === 'clean' ? 'seeing' : 'clean') : other,
    gap: hidden?.gap,
  };
}

/** What variances of causes differ from the truth by, in logarithms, beyond their stated errors (simulated fields). */
const SPREAD_OF_TWO = 0.07;

/** How far the ratio of the two leading variances may be from what it seems, in logarithms. */
function spreadOf(first: WeighedCause, second: WeighedCause): number {
  const relative = (entry: WeighedCause) => 2 / Math.max(entry.significance, 1);
  return Math.hypot(SPREAD_OF_TWO, relative(first), relative(second));
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
