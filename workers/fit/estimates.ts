import type { Estimate } from '../protocol/report.ts';
import type { FieldFit } from './field-fit.ts';
import { EVEN_PARAMETERS, P, PARAMETER_COUNT } from './parameters.ts';

/**
 * No length of this fit is better known than this share of itself, for physics that the model leaves out; a movement,
 * which no wavelength or obstruction bears on, no better than `moved`, and its direction than `turnedDeg`.
 */
export const LEAST_SIGMA = { share: 0.005, moved: 0.002, turnedDeg: 0.05 };
/**
 * A value with the standard error that follows from its derivatives by the parameters. Parameters that were dropped
 * count with how large they may be unseen; `least`: an error of the model itself, in the value's own unit.
 */
export function combined(
  fit: FieldFit,
  value: number,
  derivatives: [number, number][],
  least = LEAST_SIGMA.share * Math.abs(value),
): Estimate {
  let variance = least ** 2;
  for (const [a, da] of derivatives) {
    variance += (fit.droppedSigma[a] * da) ** 2;
    for (const [b, db] of derivatives) variance += da * db * fit.covariance[a * PARAMETER_COUNT + b];
  }
  return { value: value === 0 ? 0 : value, sigma: Math.sqrt(Math.max(variance, 0)) };
}

/**
 * Blur grows with the square of a defocus or an astigmatism, so it is the square that is known with an even error. Two
 * standard errors below it the value itself is farther off than its curvature says, and from a quarter of the value on
 * nothing keeps it from zero.
 */
export function widenedNearFocus(name: keyof typeof P, { value, sigma }: Estimate): Estimate {
  if (!EVEN_PARAMETERS.includes(name)) return { value, sigma };
  const size = Math.abs(value);
  const down = (size - size * Math.sqrt(Math.max(0, 1 - (4 * sigma) / size))) / 2;
  return { value, sigma: size > 0 ? Math.max(sigma, down) : sigma };
}

/** Derivative of a value by one parameter. */
export function slopeOf(
  value: (theta: ArrayLike<number>) => number,
  theta: number[],
  parameter: number,
): number {
  const step = 1e-3;
  const moved = (sign: number) => value(theta.map((x, p) => (p === parameter ? x + sign * step : x)));
  return (moved(1) - moved(-1)) / (2 * step);
}
