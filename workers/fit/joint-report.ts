import type { StampSet } from '../protocol/stamps.ts';
import { commonMisfit } from './coherence.ts';
import type { CommonMisfit } from './coherence.ts';
import type { FieldFit, Rival } from './field-fit.ts';
import { fieldPositions } from './field-stars.ts';
import { widthsOf } from './field-widths.ts';
import { residualsOf } from './fit-field.ts';
import { jointResults, repeats } from './joint-fit.ts';
import type { JointResult } from './joint-fit.ts';
import type { FitResult } from './levenberg.ts';
import type { Optics } from './optics.ts';
import { P, PARAMETER_COUNT } from './parameters.ts';
import { medianMisfit } from './search.ts';
import { settleSign } from './sign.ts';
import type { StarResidual } from './star-pool.ts';

/** A frame of the joint fit: its stars, its fit alone, and the optics that all share. */
export interface ReportedFrame {
  stamps: StampSet;
  single: FieldFit;
}

/** The joint fit as one fit per frame, in the form that verdict and screens know. */
export async function jointFits(
  reported: readonly ReportedFrame[],
  joint: JointResult,
  rivals: readonly Rival[][],
): Promise<FieldFit[]> {
  // One telescope, but air that parts the colours differently in each frame.
  const { optics } = reported[0].single;
  const opticsOf = (single: FieldFit) => ({ ...optics, colourShiftPx: single.optics.colourShiftPx });
  let common: CommonMisfit = { uneven: 0, whole: 0 };
  const { results, covariances } = await jointResults(joint, optics, async (each) => {
    common = await misfitOfAll(reported, each, joint, opticsOf);
    return common.whole;
  });
  const fits: FieldFit[] = [];
  for (const [i, { stamps, single }] of reported.entries()) {
    const { state, shape } = results[i];
    const sign = settleSign(state.theta, covariances[i], shape.groups);
    fits.push({
      ...single,
      optics: opticsOf(single),
      groups: [...shape.groups],
      path: shape.path,
      theta: [...sign.theta],
      focusSignKnown: sign.known,
      covariance: [...sign.covariance],
      droppedSigma: droppedSigmas(reported, results[i].free, single),
      chi2PerDof: medianMisfit(results[i]),
      stars: joint.frames[i].options.stars.length,
      coherence: common.uneven,
      commonMisfit: common.whole,
      rivals: rivals[i],
      ...(await widthsOf(results[i], opticsOf(single), stamps, single.dispersionPx)),
    });
  }
  return fits;
}

/**
 * What the stars of all frames leave in common, as if they were of one: the optics repeat, and so does what the model
 * lacks of them; few stars of one frame cannot tell it from noise.
 */
async function misfitOfAll(
  reported: readonly ReportedFrame[],
  results: readonly FitResult[],
  joint: JointResult,
  opticsOf: (single: FieldFit) => Optics,
): Promise<CommonMisfit> {
  const side = Math.min(...reported.map(({ stamps }) => stamps.sidePx));
  const pooled: StarResidual[] = [];
  const xi: number[] = [];
  const eta: number[] = [];
  for (const [i, { stamps, single }] of reported.entries()) {
    const places = fieldPositions(stamps);
    const before = xi.length;
    const residuals = await residualsOf(stamps, opticsOf(single), results[i], joint.frames[i].options);
    for (const one of residuals)
      pooled.push({
        ...one,
        star: before + one.star,
        rest: middleOf(one.rest, stamps.sidePx, side),
        model: middleOf(one.model, stamps.sidePx, side),
      });
    xi.push(...places.xi);
    eta.push(...places.eta);
  }
  return commonMisfit(pooled, Float64Array.from(xi), Float64Array.from(eta), side);
}

/** The middle of a square picture; both sides are odd. */
function middleOf(picture: Float64Array, side: number, wanted: number): Float64Array {
  if (side === wanted) return picture;
  const edge = (side - wanted) / 2;
  return Float64Array.from({ length: wanted * wanted }, (_, at) => {
    const [x, y] = [at % wanted, Math.floor(at / wanted)];
    return picture[(y + edge) * side + x + edge];
  });
}

/**
 * How large what the joint model does without may be unseen: of what each frame has for itself as that frame says, of
 * what all share as the mean of what they say.
 */
function droppedSigmas(
  reported: readonly ReportedFrame[],
  free: readonly number[],
  single: FieldFit,
): number[] {
  const said = (fit: FieldFit, parameter: number): number =>
    fit.droppedSigma[parameter] ||
    Math.hypot(
      fit.theta[parameter],
      Math.sqrt(Math.max(fit.covariance[parameter * PARAMETER_COUNT + parameter], 0)),
    );
  return single.droppedSigma.map((_, parameter) => {
    if (free.includes(parameter) || parameter === P.lnBlur) return 0;
    if (!repeats(parameter)) return said(single, parameter);
    const weights = reported
      .map((one) => said(one.single, parameter))
      .filter((sigma) => sigma > 0)
      .map((sigma) => 1 / sigma ** 2);
    return weights.length > 0 ? Math.sqrt(1 / weights.reduce((sum, weight) => sum + weight, 0)) : 0;
  });
}
