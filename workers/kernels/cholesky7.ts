// Symmetric 7 x 7 systems, row-major f64, for the profile fit.

const N: usize = 7;

// @ts-ignore: decorator
@inline
function get(matrix: usize, row: usize, col: usize): f64 {
  return load<f64>(matrix + ((row * N + col) << 3));
}

/**
 * Replaces the lower triangle by its Cholesky factor, with the diagonal's reciprocals in its place. False when the matrix
 * is not positive definite.
 */
export function factor7(matrix: usize): bool {
  for (let j: usize = 0; j < N; j++) {
    let diagonal = get(matrix, j, j);
    const floor = diagonal * 1e-12;
    for (let m: usize = 0; m < j; m++) diagonal -= get(matrix, j, m) * get(matrix, j, m);
    if (!(diagonal > floor)) return false;
    const pivot = 1 / Math.sqrt(diagonal);
    store<f64>(matrix + ((j * N + j) << 3), pivot);
    for (let i = j + 1; i < N; i++) {
      let value = get(matrix, i, j);
      for (let m: usize = 0; m < j; m++) value -= get(matrix, i, m) * get(matrix, j, m);
      store<f64>(matrix + ((i * N + j) << 3), value * pivot);
    }
  }
  return true;
}

/** Solves with a factor from factor7; `right` and `out` are 7 f64 and may be the same. */
export function solve7(factor: usize, right: usize, out: usize): void {
  for (let i: usize = 0; i < N; i++) {
    let value = load<f64>(right + (i << 3));
    for (let m: usize = 0; m < i; m++) value -= get(factor, i, m) * load<f64>(out + (m << 3));
    store<f64>(out + (i << 3), value * get(factor, i, i));
  }
  for (let back: usize = 0; back < N; back++) {
    const i = N - 1 - back;
    let value = load<f64>(out + (i << 3));
    for (let m = i + 1; m < N; m++) value -= get(factor, m, i) * load<f64>(out + (m << 3));
    store<f64>(out + (i << 3), value * get(factor, i, i));
  }
}

/** Inverse from a factor, into `out` (49 f64); symmetric, so its rows are its columns. */
export function invert7(factor: usize, out: usize): void {
  for (let row: usize = 0; row < N; row++) {
    const column = out + ((row * N) << 3);
    for (let i: usize = 0; i < N; i++) store<f64>(column + (i << 3), i == row ? 1 : 0);
    solve7(factor, column, column);
  }
}
