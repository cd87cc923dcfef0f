import { normalCdf } from '../math/normal.ts';
import type { FieldFit } from '../fit/field-fit.ts';

/**
 * Logit of being right: its value where a rival costs nothing more, and its slope by ln(1 + gap). From saved fields of the
 * tuning seeds: `npm run bench -- field calibrate FILE...` derives them again.
 */
export const GAP_LOGIT = { at0: -2.09, slope: 1.13 };

/**
 * Probability that the chosen explanation is right given how much more its best rival costs (chi squared, parameters
 * priced, misfit divided out): a logistic curve through simulated fields.
 */
export const fromGap = (gap: number): number =>
  1 / (1 + Math.exp(-GAP_LOGIT.at0 - GAP_LOGIT.slope * Math.log(1 + Math.max(gap, 0))));

/**
 * What is missing from the model is no noise: the fit's own statistics then promise too much. Chi squared grows with
 * the brightness of the stars, the coherence of the residuals does not; a model whose stars are not as wide as the
 * measured ones fits something else than stars.
 */
export function misfitCap(
  { chi2PerDof, coherence, centreFwhmPx, cornerFwhmPx }: FieldFit,
  measuredFwhmPx: number | null,
): number {
  const width = (centreFwhmPx + cornerFwhmPx) / 2;
  const apart = measuredFwhmPx ? Math.abs(Math.log(width / measuredFwhmPx)) : 0;
  if (apart > WIDTHS_APART) return 0.4;
  const byCoherence = coherence > 0.1 ? 0.55 : coherence > 0.05 ? 0.75 : coherence > 0.03 ? 0.88 : 0.99;
  const byChi2 = chi2PerDof > 4 ? 0.6 : chi2PerDof > 2 ? 0.8 : chi2PerDof > 1.3 ? 0.9 : 0.99;
  return Math.min(byCoherence, byChi2);
}

/** Logarithm of the ratio of modelled and measured widths: a factor of 1.6. Rings and strong gradients need room. */
const WIDTHS_APART = 0.47;

/** Probability that `amount` is truly above `limit`, each known only to a fraction: half at the limit itself. */
export const aboveLimit = (amount: number, limit: number, spread = 0.25): number =>
  normalCdf(Math.log(Math.max(amount, 1e-12) / limit) / spread);
