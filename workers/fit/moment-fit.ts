import { solveSymmetric } from '../math/linear.ts';
import {
  LOCALS,
  P,
  PARAMETERS,
  PARAMETER_COUNT,
  freeParameters,
  localBasis,
  localValues,
} from './parameters.ts';
import type { ModelShape } from './parameters.ts';
import { pathSpread } from './path.ts';
import { MOMENT_COUNT, spotMoments } from './spot-moments.ts';

/** Moments of some stars and where they stand in the field. */
export interface MomentField {
  xi: Float64Array;
  eta: Float64Array;
  /** [star][MOMENT_COUNT]. */
  moments: Float64Array;
}

/** Relative errors of adaptive moments as stand-ins for the geometric ones, of trace, Q, K1 and K3. */
const TOLERANCE = [0.15, 0.1, 0.1, 0.25, 0.25, 0.3, 0.3];
const ITERATIONS = 25;

/**
 * Field parameters whose spot moments resemble the measured ones, from a given start: Levenberg-Marquardt with a
 * saturating loss. Costs no image; its only use is to start the fit of the pixels.
 */
export function fitMoments(
  field: MomentField,
  obstruction: number,
  start: Float64Array,
  shape: ModelShape,
): { theta: Float64Array; cost: number } {
  const free = freeParameters(shape).filter(
    (parameter) => ![P.spherical, P.core, P.colourSpread].includes(parameter) && parameter < P.path1,
  );
  const stars = field.xi.length;
  const bases = Array.from({ length: stars }, (_, star) => localBasis(field.xi[star], field.eta[star]));
  const spread = pathSpread(shape.path, 0, 0).variance;
  const theta = start.slice();
  let lambda = 1e-2;
  let { cost, normal, gradient } = evaluate(theta, true);
  for (let iteration = 0; iteration < ITERATIONS; iteration++) {
    let gained = 0;
    for (let attempt = 0; attempt < 6 && gained === 0; attempt++) {
      const damped = normal.slice();
      for (let i = 0; i < free.length; i++) damped[i * free.length + i] *= 1 + lambda;
      const step = solveSymmetric(damped, gradient);
      if (!step) {
        lambda *= 8;
        continue;
      }
      const trial = theta.slice();
      free.forEach((parameter, i) => (trial[parameter] += Math.max(-2.5, Math.min(2.5, step[i]))));
      trial[P.lnBlur] = Math.max(-0.7, Math.min(3, trial[P.lnBlur]));
      const next = evaluate(trial, false).cost;
      if (next < cost) {
        gained = cost - next;
        theta.set(trial);
        lambda = Math.max(lambda / 6, 1e-6);
      } else lambda *= 8;
    }
    if (gained < 1e-3 * cost || gained === 0) break;
    ({ cost, normal, gradient } = evaluate(theta, true));
  }
  return { theta, cost };

  function evaluate(at: Float64Array, derive: boolean) {
    const n = free.length;
    const normalMatrix = new Float64Array(n * n);
    const downhill = new Float64Array(n);
    const model = new Float64Array(MOMENT_COUNT);
    const moved = new Float64Array(MOMENT_COUNT);
    const row = new Float64Array(n);
    let total = 0;
    for (let star = 0; star < stars; star++) {
      const locals = localValues(bases[star], at);
      spotMoments(locals, obstruction, spread, model);
      const trace = field.moments[star * MOMENT_COUNT];
      const byLocal: Float64Array[] = [];
      if (derive)
        LOCALS.forEach((_, local) => {
          const h = 1e-4;
          locals[local] += h;
          spotMoments(locals, obstruction, spread, moved);
          locals[local] -= h;
          byLocal.push(moved.map((value, k) => (value - model[k]) / h));
        });
      for (let k = 0; k < MOMENT_COUNT; k++) {
        const scale = TOLERANCE[k] * (k < 3 ? trace : trace ** 1.5);
        const r = (field.moments[star * MOMENT_COUNT + k] - model[k]) / scale;
        const root = Math.sqrt(1 + r * r);
        total += 2 * (root - 1);
        if (!derive) continue;
        const weight = 1 / root;
        row.fill(0);
        for (let i = 0; i < n; i++)
          for (let local = 0; local < LOCALS.length; local++)
            row[i] += (byLocal[local][k] / scale) * bases[star][local * PARAMETER_COUNT + free[i]];
        for (let i = 0; i < n; i++) {
          downhill[i] += weight * row[i] * r;
          for (let j = 0; j < n; j++) normalMatrix[i * n + j] += weight * row[i] * row[j];
        }
      }
    }
    free.forEach((parameter, i) => {
      const sigma = PARAMETERS[parameter].priorSigma;
      const centre = parameter === P.lnBlur ? 1 : 0;
      total += ((at[parameter] - centre) / sigma) ** 2;
      normalMatrix[i * n + i] += 1 / sigma ** 2;
      downhill[i] -= (at[parameter] - centre) / sigma ** 2;
    });
    return { cost: total, normal: normalMatrix, gradient: downhill };
  }
}
