import type { StampSet } from '../protocol/stamps.ts';
import type { FieldFit, Rival } from './field-fit.ts';
import { fieldPositions } from './field-stars.ts';
import { widthsOf } from './field-widths.ts';
import { misfitOf } from './fit-field.ts';
import { jointResults, repeats } from './joint-fit.ts';
import type { JointResult } from './joint-fit.ts';
import { P, PARAMETER_COUNT } from './parameters.ts';
import { medianMisfit } from './search.ts';
import { settleSign } from './sign.ts';

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
  const common: { uneven: number; whole: number }[] = [];
  const { results, covariances } = await jointResults(joint, optics, async (result, i) => {
    const { stamps, single } = reported[i];
    common[i] = await misfitOf(
      stamps,
      single.optics,
      fieldPositions(stamps),
      result,
      joint.frames[i].options,
    );
    return common[i].whole;
  });
  const mean = (values: number[]) => values.reduce((sum, value) => sum + value, 0) / values.length;
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
      // What stars leave in common is known the better the more of them are looked at.
      coherence: mean(common.map(({ uneven }) => uneven)),
      commonMisfit: mean(common.map(({ whole }) => whole)),
      rivals: rivals[i],
      ...(await widthsOf(results[i], opticsOf(single), stamps, single.dispersionPx)),
    });
  }
  return fits;
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
