import { choleskyFactor, choleskySolve } from './linear.ts';
import { HUBER, robustSigma } from './robust.ts';

export interface Regression {
  coefficients: Float64Array;
  /** Row-major, p x p: sandwich covariance, so that the scatter itself tells the errors. */
  covariance: Float64Array;
}

const ROUNDS = 20;

/**
 * Robust linear regression: `rows` is row-major n x p, `values` of length n. Huber's weights on residuals over their
 * robust scatter, iterated (Huber 1981); the covariance is White's (1980) with the n / (n - p) of MacKinnon & White (1985).
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
    if (!factor) return null;
    const next = Float64Array.from(choleskySolve(factor, right));
    const moved = next.reduce((most, value, i) => Math.max(most, Math.abs(value - coefficients[i])), 0);
    coefficients = next;
    for (let i = 0; i < n; i++) residuals[i] = values[i] - dot(rows, i, coefficients);
    const scatter = robustSigma(residuals, 0);
    if (!(scatter > 0)) break;
    for (let i = 0; i < n; i++) weights[i] = Math.min(1, (HUBER * scatter) / Math.abs(residuals[i]));
    if (moved < 1e-6 * scatter) break;
  }
  return { coefficients, covariance: sandwich(rows, residuals, weights, p) };
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
  const bread = new Float64Array(p * p);
  const meat = new Float64Array(p * p);
  for (let i = 0; i < n; i++)
    for (let a = 0; a < p; a++)
      for (let b = 0; b < p; b++) {
        const product = rows[i * p + a] * rows[i * p + b];
        // Beyond Huber's bend the influence no longer grows: its slope there is zero.
        bread[a * p + b] += weights[i] < 1 ? 0 : product;
        meat[a * p + b] += (weights[i] * residuals[i]) ** 2 * product;
      }
  const factor = choleskyFactor(bread, p);
  const covariance = new Float64Array(p * p).fill(Infinity);
  if (!factor) return covariance;
  const half = new Float64Array(p * p);
  for (let a = 0; a < p; a++) {
    const column = choleskySolve(factor, Float64Array.from({ length: p }, (_, b) => meat[b * p + a]));
    for (let b = 0; b < p; b++) half[b * p + a] = column[b];
  }
  for (let a = 0; a < p; a++) {
    const row = choleskySolve(factor, Float64Array.from({ length: p }, (_, b) => half[a * p + b]));
    for (let b = 0; b < p; b++) covariance[a * p + b] = (row[b] * n) / (n - p);
  }
  return covariance;
}
