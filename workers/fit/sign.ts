import { EVEN_PARAMETERS, P, PARAMETER_COUNT } from './parameters.ts';
import type { Group } from './parameters.ts';

/** Standard errors from which the design's own astigmatism, whose sign theory knows, settles the common sign. */
const SURE = 4;
/** A component of the tilt counts from this many standard errors. */
const SIGNIFICANT = 3;

/**
 * Prints the hidden common sign of the even terms by convention: the design's astigmatism positive where it is sure
 * (then the sign is known), else focus >= 0, else the first significant component of the tilt > 0.
 */
export function settleSign(
  theta: Float64Array,
  covariance: Float64Array,
  groups: ReadonlySet<Group>,
): { theta: Float64Array; covariance: Float64Array; known: boolean } {
  const sigma = (parameter: number) => Math.sqrt(covariance[parameter * PARAMETER_COUNT + parameter]);
  const design = theta[P.astigmatismField];
  const known = groups.has('astigmatismField') && Math.abs(design) > SURE * sigma(P.astigmatismField);
  let lead = 0;
  if (known) lead = design;
  else if (groups.has('focus')) lead = theta[P.focus];
  else
    lead =
      [P.tiltX, P.tiltY]
        .map((p) => (Math.abs(theta[p]) > SIGNIFICANT * sigma(p) ? theta[p] : 0))
        .find(Boolean) ?? theta[P.curvature];
  if (lead >= 0) return { theta, covariance, known };
  const even = new Set(EVEN_PARAMETERS.map((name) => P[name]));
  const sign = (parameter: number) => (even.has(parameter) ? -1 : 1);
  return {
    theta: theta.map((value, parameter) => sign(parameter) * value),
    covariance: covariance.map(
      (value, at) => sign(Math.floor(at / PARAMETER_COUNT)) * sign(at % PARAMETER_COUNT) * value,
    ),
    known,
  };
}
