import { sandwichCovariance } from './covariance.ts';
import type { FitResult } from './levenberg.ts';
import { EVEN_PARAMETERS, P, PARAMETER_COUNT } from './parameters.ts';

/** Edge radius of a defocus or an astigmatism that nobody can see, over the FWHM of the round blur. */
const UNSEEN_SPOT = 0.15;
/** Length of a trail that nobody can see, likewise: of the same variance, a twelfth of its square along one axis. */
const UNSEEN_TRAIL = 0.27;

const SPOTS = new Set(EVEN_PARAMETERS.filter((name) => name !== 'spherical').map((name) => P[name]));
const DEFOCUSING: readonly number[] = [P.focus, P.tiltX, P.tiltY, P.curvature];
const TRAILS: readonly number[] = [P.motionX, P.motionY, P.rotation];

/**
 * Standard errors of what the last model does without: how large it may be unseen. What was dropped: where it stood
 * before and how well that was known. What was never free: what a refit with it would find (`forecast`). Blur grows
 * with the square of a defocus, an astigmatism or a trail, so near zero the curvature of the cost says nothing of them
 * and a share of the round blur's width takes its place.
 */
export function unseenSigma(full: FitResult, final: FitResult, forecast: Map<number, number>): number[] {
  const sigma = new Array<number>(PARAMETER_COUNT).fill(0);
  const blurPx = Math.exp(final.state.theta[P.lnBlur]);
  for (const [parameter, value] of forecast)
    if (!final.free.includes(parameter))
      sigma[parameter] = SPOTS.has(parameter) ? Math.min(value, UNSEEN_SPOT * blurPx) : value;
  const covariance = full.normal ? sandwichCovariance(full) : null;
  for (const parameter of full.free) {
    if (final.free.includes(parameter)) continue;
    const variance = covariance?.[parameter * PARAMETER_COUNT + parameter] ?? 0;
    sigma[parameter] = Math.sqrt(variance + full.state.theta[parameter] ** 2);
    if (DEFOCUSING.includes(parameter)) sigma[parameter] = Math.max(sigma[parameter], UNSEEN_SPOT * blurPx);
  }
  for (const parameter of TRAILS)
    if (!final.free.includes(parameter)) sigma[parameter] = Math.max(sigma[parameter], UNSEEN_TRAIL * blurPx);
  return sigma;
}
