import { choleskyFactor, choleskySolve } from '../math/linear.ts';

export interface LeastSquares {
  /** One per target. */
  coefficients: Float64Array[];
  /** Of the coefficients when the rows have unit variance, row-major; the same for every target. */
  covariance: Float64Array;
  chi2: number[];
  /** Logarithm of the determinant of X'X. */
  logDeterminant: number;
}

/** Ordinary least squares of several targets on the same columns. Null when the columns depend on each other. */
export function leastSquares(
  columns: readonly Float64Array[],
  targets: readonly Float64Array[],
): LeastSquares | null {
  const k = columns.length;
  const scale = columns.map((column) => Math.sqrt(dot(column, column)));
  if (scale.some((each) => !(each > 0))) return null;
  const normal = new Float64Array(k * k);
  for (let i = 0; i < k; i++)
    for (let j = 0; j <= i; j++)
      normal[i * k + j] = normal[j * k + i] = dot(columns[i], columns[j]) / (scale[i] * scale[j]);
  const factor = choleskyFactor(normal, k);
  if (!factor) return null;
  let logDeterminant = 0;
  for (let i = 0; i < k; i++) {
    // Columns that hardly differ: the answer would be noise.
    if (factor[i * k + i] < 1e-5) return null;
    logDeterminant += 2 * Math.log(factor[i * k + i] * scale[i]);
  }
  const coefficients = targets.map((target) => {
    const right = Float64Array.from(columns, (column, i) => dot(column, target) / scale[i]);
    return choleskySolve(factor, right).map((value, i) => value / scale[i]);
  });
  const chi2 = targets.map((target, index) => {
    let sum = 0;
    for (let row = 0; row < target.length; row++) {
      let residual = target[row];
      for (let i = 0; i < k; i++) residual -= coefficients[index][i] * columns[i][row];
      sum += residual * residual;
    }
    return sum;
  });
  const covariance = new Float64Array(k * k);
  for (let j = 0; j < k; j++) {
    const unit = new Float64Array(k);
    unit[j] = 1;
    choleskySolve(factor, unit).forEach((value, i) => {
      covariance[i * k + j] = value / (scale[i] * scale[j]);
    });
  }
  return { coefficients, covariance, chi2, logDeterminant };
}

export function dot(a: Float64Array, b: Float64Array): number {
  let sum = 0;
  for (let i = 0; i < a.length; i++) sum += a[i] * b[i];
  return sum;
}
