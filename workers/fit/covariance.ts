import { invertSymmetric } from '../math/linear.ts';
import type { FitResult } from './levenberg.ts';
import { P, PARAMETER_COUNT } from './parameters.ts';

/** Simulated fits scatter by this much more than the sandwich says. */
const INFLATION = 1.2;
/**
 * No round blur is known better than this (in its logarithm): air of one colour and Kolmogorov's wings are idealised;
 * and one that needs a shape of its own (a core, spherical aberration) less well.
 */
const ROUND_BLUR_FLOOR = { plain: 0.015, shaped: 0.03 };
/** Part of what all stars leave in common that may stand in any one parameter. */
const MISFIT_IN_ONE = 0.3;

/**
 * Covariance of all field parameters, row-major PARAMETER_COUNT squared, zero for what was not free. Three sources:
 * the sandwich over stars (noise, and what differs from star to star); what all stars leave in common, which no
 * number of stars averages away: it may hide a change of the parameters that alters the stars as much (`commonMisfit`,
 * over the size of the model); and an error of the round blur's shape, which moves all that can stand in for it, such
 * as a small defocus.
 */
export function fieldCovariance(result: FitResult, commonMisfit: number): Float64Array {
  const { free, normal, answers } = result;
  const out = sandwichCovariance(result);
  const n = free.length;
  const inverse = normal && invertSymmetric(normal, n);
  if (!inverse) return out;
  const power = answers.reduce((sum, { reduced }) => sum + (reduced?.power ?? 0), 0);
  const hidden = (MISFIT_IN_ONE * commonMisfit) ** 2 * power;
  const shaped = free.includes(P.core) || free.includes(P.spherical);
  const floor = shaped ? ROUND_BLUR_FLOOR.shaped : ROUND_BLUR_FLOOR.plain;
  const blur = free.indexOf(P.lnBlur);
  const response = Float64Array.from(free, (_, a) => inverse[a * n + blur] / inverse[blur * n + blur]);
  for (let a = 0; a < n; a++)
    for (let b = 0; b < n; b++)
      out[free[a] * PARAMETER_COUNT + free[b]] +=
        hidden * inverse[a * n + b] + floor ** 2 * response[a] * response[b];
  return out;
}

/**
 * The sandwich over stars: H^-1 (sum of g g') H^-1 n / (n - 0.7 p), inflated by what tests on simulated frames found.
 * Unlike H^-1 it answers to what the model leaves unexplained, star by star.
 */
export function sandwichCovariance(result: FitResult): Float64Array {
  const { free, normal, gradients } = result;
  const n = free.length;
  const out = new Float64Array(PARAMETER_COUNT * PARAMETER_COUNT);
  const inverse = normal && invertSymmetric(normal, n);
  if (!inverse) return out;
  const meat = new Float64Array(n * n);
  for (const g of gradients)
    for (let a = 0; a < n; a++) for (let b = 0; b < n; b++) meat[a * n + b] += g[a] * g[b];
  const stars = gradients.length;
  const factor = (INFLATION ** 2 * stars) / Math.max(stars - 0.7 * n, 0.25 * stars, 1);
  const half = product(inverse, meat, n);
  const full = product(half, inverse, n);
  // Few stars can by chance agree better than their noise allows: never below the noise itself.
  for (let a = 0; a < n; a++)
    for (let b = 0; b < n; b++) {
      const floor = a === b ? inverse[a * n + a] : 0;
      const value = factor * full[a * n + b];
      out[free[a] * PARAMETER_COUNT + free[b]] = a === b ? Math.max(value, floor) : value;
    }
  return out;
}

function product(a: Float64Array, b: Float64Array, n: number): Float64Array {
  const out = new Float64Array(n * n);
  for (let i = 0; i < n; i++)
    for (let k = 0; k < n; k++) for (let j = 0; j < n; j++) out[i * n + j] += a[i * n + k] * b[k * n + j];
  return out;
}
