import { invertSymmetric, solveSymmetric } from '../math/linear.ts';
import type { FitResult } from './levenberg.ts';
import { fringePx } from './optics.ts';
import type { Optics } from './optics.ts';
import { P, PARAMETER_COUNT } from './parameters.ts';
import type { StarAnswer } from './star-solve.ts';

/** Simulated fits scatter by this much more than the sandwich says. */
const INFLATION = 1.05;
/** Part of what all stars leave in common that may stand in any one parameter. */
const MISFIT_IN_ONE = 0.12;
/**
 * No round blur is known better than this (in its logarithm). `air`: Kolmogorov's wings are idealised. `oneColour`: so is
 * diffraction by one wavelength, which counts with the square of its width over the blur's. `shaped`: one that needs a
 * shape of its own (a core, spherical aberration) is known less well. The bench of the fit counts what all of these cover.
 */
const ROUND_BLUR_FLOOR = { air: 0.005, oneColour: 0.035, shaped: 0.025 };

/** A solved system of normal equations, of one frame or of several together. */
export interface SolvedSystem {
  /** Parameter of each column. */
  parameters: readonly number[];
  normal: Float64Array;
  /** Width of one fringe of the pupil over that of the round blur. */
  fringeOverBlur: number;
  /** Each star's gradient. */
  gradients: readonly Float64Array[];
  answers: readonly StarAnswer[];
}

/**
 * Covariance in the order of the columns; null where the normal matrix cannot be inverted. Three sources: the sandwich
 * over stars (noise, and what differs from star to star); what all stars leave in common, which no number of stars
 * averages away: it may hide a change of the parameters that alters the stars as much (`commonMisfit`, over the size of
 * the model); and an error of the round blur's shape, which moves all that can stand in for it, such as a small defocus.
 */
export function systemCovariance(system: SolvedSystem, commonMisfit: number): Float64Array | null {
  const { parameters, normal, answers } = system;
  const n = parameters.length;
  const out = sandwich(normal, system.gradients);
  const inverse = invertSymmetric(normal, n);
  if (!out || !inverse) return null;
  const power = answers.reduce((sum, { reduced }) => sum + (reduced?.power ?? 0), 0);
  const hidden = (MISFIT_IN_ONE * commonMisfit) ** 2 * power;
  const shaped = parameters.includes(P.core) || parameters.includes(P.spherical);
  const { air, oneColour, shaped: own } = ROUND_BLUR_FLOOR;
  const floor = Math.hypot(air, oneColour * system.fringeOverBlur ** 2, shaped ? own : 0);
  const moved = withBlursMoved(inverse, parameters, floor);
  return out.map((value, at) => value + hidden * inverse[at] + moved[Math.floor(at / n)] * moved[at % n]);
}

/** How all columns answer when the round blurs of all frames are off by the same part. */
function withBlursMoved(inverse: Float64Array, parameters: readonly number[], part: number): Float64Array {
  const n = parameters.length;
  const blurs = parameters.flatMap((parameter, column) => (parameter === P.lnBlur ? [column] : []));
  const block = Float64Array.from(blurs.flatMap((a) => blurs.map((b) => inverse[a * n + b])));
  const pushes = solveSymmetric(block, new Float64Array(blurs.length).fill(part));
  return Float64Array.from(parameters, (_, a) =>
    blurs.reduce((sum, b, k) => sum + inverse[a * n + b] * (pushes?.[k] ?? 0), 0),
  );
}

/** The same for one frame, of all field parameters: row-major PARAMETER_COUNT squared, zero for what was not free. */
export function fieldCovariance(result: FitResult, optics: Optics, commonMisfit: number): Float64Array {
  const { free, normal, gradients, answers, state } = result;
  const fringeOverBlur = fringePx(optics) / Math.exp(state.theta[P.lnBlur]);
  return spreadOut(
    normal &&
      systemCovariance({ parameters: free, normal, fringeOverBlur, gradients, answers }, commonMisfit),
    free,
  );
}

/** Noise and what differs from star to star alone. */
export const sandwichCovariance = ({ free, normal, gradients }: FitResult): Float64Array =>
  spreadOut(normal && sandwich(normal, gradients), free);

/** Columns of a small matrix at the places of their parameters. `from`: which columns, where not all. */
export function spreadOut(
  small: Float64Array | null,
  free: readonly number[],
  from: readonly number[] = free.map((_, i) => i),
): Float64Array {
  const out = new Float64Array(PARAMETER_COUNT * PARAMETER_COUNT);
  if (!small) return out;
  const n = Math.round(Math.sqrt(small.length));
  free.forEach((a, i) =>
    free.forEach((b, j) => (out[a * PARAMETER_COUNT + b] = small[from[i] * n + from[j]])),
  );
  return out;
}

/**
 * The sandwich H^-1 (sum of g g') H^-1 n / (n - 0.7 p), inflated by what tests on simulated frames found. Unlike H^-1 it
 * answers to what the model leaves unexplained, star by star. Null where H cannot be inverted.
 */
function sandwich(normal: Float64Array, gradients: readonly Float64Array[]): Float64Array | null {
  const n = Math.round(Math.sqrt(normal.length));
  const inverse = invertSymmetric(normal, n);
  if (!inverse) return null;
  const meat = new Float64Array(n * n);
  for (const g of gradients)
    for (let a = 0; a < n; a++) for (let b = 0; b < n; b++) meat[a * n + b] += g[a] * g[b];
  const stars = gradients.length;
  const factor = (INFLATION ** 2 * stars) / Math.max(stars - 0.7 * n, 0.25 * stars, 1);
  const full = product(product(inverse, meat, n), inverse, n);
  // Few stars can by chance agree better than their noise allows: never below the noise itself.
  return full.map((value, at) => {
    const diagonal = at % (n + 1) === 0;
    return diagonal ? Math.max(factor * value, inverse[at]) : factor * value;
  });
}

function product(a: Float64Array, b: Float64Array, n: number): Float64Array {
  const out = new Float64Array(n * n);
  for (let i = 0; i < n; i++)
    for (let k = 0; k < n; k++) for (let j = 0; j < n; j++) out[i * n + j] += a[i * n + k] * b[k * n + j];
  return out;
}
