import { choleskyFactor, choleskySolve } from './linear.ts';
import { HUBER, robustSigma } from './robust.ts';

export interface Regression {
  coefficients: Float64Array;
  /** Row-major, p x p: sandwich covariance, so that the scatter itself tells the errors. Computed when it is asked for. */
  readonly covariance: Float64Array;
}

const ROUNDS = 20;

/**
 * Robust linear regression: `rows` is row-major n x p, `values` of length n. Huber's weights on residuals over their
 * robust scatter, iterated (Huber 1981); the covariance is White's (1980) with each residual divided by what its own
 * value has pulled the line towards itself (HC3 of MacKinnon & White 1985).
 * Null with fewer than p + 2 values or where the columns do not tell the coefficients apart.
 */
export function robustRegression(rows: Float64Array, values: Float64Array, p: number): Regression | null {
  const n = values.length;
  if (n < p + 2) return null;
  const weights = new Float64Array(n).fill(1);
  const residuals = new Float64Array(n);
  let coefficients = new Float64Array(p);
  for (let round = 0; round < ROUNDS; round++) {
    const { normal, right } = normalEquations(rows, values, weights, p);
    const factor = choleskyFactor(normal, p);
    if (!factor || isSingular(factor, normal, p)) return null;
    const next = Float64Array.from(choleskySolve(factor, right));
    const moved = next.reduce((most, value, i) => Math.max(most, Math.abs(value - coefficients[i])), 0);
    coefficients = next;
    for (let i = 0; i < n; i++) residuals[i] = values[i] - dot(rows, i, coefficients);
    const scatter = robustSigma(residuals, 0);
    if (!(scatter > 0)) break;
    for (let i = 0; i < n; i++) weights[i] = Math.min(1, (HUBER * scatter) / Math.abs(residuals[i]));
    if (moved < 1e-6 * scatter) break;
  }
  let covariance: Float64Array | null = null;
  return {
    coefficients,
    get covariance() {
      return (covariance ??= sandwich(rows, residuals, weights, p));
    },
  };
}

/** A column that the others nearly make up leaves next to nothing of its diagonal. */
function isSingular(factor: Float64Array, normal: Float64Array, p: number): boolean {
  for (let a = 0; a < p; a++) if (factor[a * p + a] ** 2 < 1e-10 * normal[a * p + a]) return true;
  return false;
}

function normalEquations(rows: Float64Array, values: Float64Array, weights: Float64Array, p: number) {
  const normal = new Float64Array(p * p);
  const right = new Float64Array(p);
  for (let i = 0; i < values.length; i++)
    for (let a = 0; a < p; a++) {
      right[a] += weights[i] * rows[i * p + a] * values[i];
      for (let b = 0; b < p; b++) normal[a * p + b] += weights[i] * rows[i * p + a] * rows[i * p + b];
    }
  return { normal, right };
}

function dot(rows: Float64Array, row: number, coefficients: Float64Array): number {
  let sum = 0;
  for (let a = 0; a < coefficients.length; a++) sum += rows[row * coefficients.length + a] * coefficients[a];
  return sum;
}

function sandwich(rows: Float64Array, residuals: Float64Array, weights: Float64Array, p: number) {
  const n = residuals.length;
  const covariance = new Float64Array(p * p).fill(Infinity);
  // Beyond Huber's bend the influence no longer grows: its slope there is zero.
  const within = weights.map((weight) => (weight < 1 ? 0 : 1));
  const factor = choleskyFactor(normalEquations(rows, residuals, within, p).normal, p);
  if (!factor) return covariance;
  covariance.fill(0);
  for (let i = 0; i < n; i++) {
    const row = rows.subarray(i * p, (i + 1) * p);
    const reach = choleskySolve(factor, Float64Array.from(row));
    const leverage = within[i] * row.reduce((sum, value, a) => sum + value * reach[a], 0);
    const own = (weights[i] * residuals[i]) / Math.max(1 - leverage, 0.05);
    for (let a = 0; a < p; a++)
      for (let b = 0; b < p; b++) covariance[a * p + b] += own * own * reach[a] * reach[b];
  }
  return covariance;
}
