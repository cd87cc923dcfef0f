/**
 * Solves A x = b for a symmetric positive definite A (row-major n x n, kept) by Cholesky's method. Returns null when A
 * is not positive definite.
 */
export function solveSymmetric(a: Float64Array, b: Float64Array): Float64Array | null {
  const n = b.length;
  const l = choleskyFactor(a, n);
  if (!l) return null;
  return choleskySolve(l, b);
}

/** Inverse of a symmetric positive definite matrix, or null. */
export function invertSymmetric(a: Float64Array, n: number): Float64Array | null {
  const l = choleskyFactor(a, n);
  if (!l) return null;
  const inverse = new Float64Array(n * n);
  const unit = new Float64Array(n);
  for (let column = 0; column < n; column++) {
    unit.fill(0);
    unit[column] = 1;
    const x = choleskySolve(l, unit);
    for (let row = 0; row < n; row++) inverse[row * n + column] = x[row];
  }
  return inverse;
}

/** Lower triangular L with L L' = A, or null. */
export function choleskyFactor(a: Float64Array, n: number): Float64Array | null {
  const l = new Float64Array(n * n);
  for (let i = 0; i < n; i++)
    for (let j = 0; j <= i; j++) {
      let sum = a[i * n + j];
      for (let k = 0; k < j; k++) sum -= l[i * n + k] * l[j * n + k];
      if (i !== j) l[i * n + j] = sum / l[j * n + j];
      else if (sum > 0) l[i * n + i] = Math.sqrt(sum);
      else return null;
    }
  return l;
}

export function choleskySolve(l: Float64Array, b: Float64Array): Float64Array {
  const n = b.length;
  const x = Float64Array.from(b);
  for (let i = 0; i < n; i++) {
    for (let k = 0; k < i; k++) x[i] -= l[i * n + k] * x[k];
    x[i] /= l[i * n + i];
  }
  for (let i = n - 1; i >= 0; i--) {
    for (let k = i + 1; k < n; k++) x[i] -= l[k * n + i] * x[k];
    x[i] /= l[i * n + i];
  }
  return x;
}
