/**
 * A smooth surface through values at scattered places on the sensor: a polynomial in x and y of low order, fitted by
 * least squares with Tukey's biweight (Beaton & Tukey 1974; tuning constant 4.685 for 95 % efficiency), so that a few
 * odd stars do not bend it. Coordinates are scaled to -1..1 over the sensor for good conditioning.
 */
export interface Surface {
  /** 0 flat, 1 plane, 2 with curvature, 3 cubic. */
  order: number;
  /** Value at a place on the sensor, in the unit of the data. */
  at(xPx: number, yPx: number): number;
  /** Standard error of the surface at a place. */
  sigmaAt(xPx: number, yPx: number): number;
  /** Robust scatter of the data about the surface. */
  scatter: number;
  used: number;
}

export interface Samples {
  xPx: ArrayLike<number>;
  yPx: ArrayLike<number>;
  value: ArrayLike<number>;
}

const TUKEY = 4.685;
const MAD_TO_SIGMA = 1.4826;
const ROUNDS = 12;
/** Stars per coefficient below which a lower order is taken (common practice, no source). */
const STARS_PER_TERM = 4;

const terms = (order: number): number => ((order + 1) * (order + 2)) / 2;

/**
 * The highest order up to `maxOrder` (at most 3) that the number of values allows is fitted robustly; then the order is
 * lowered as far as the data do not need it (Schwarz 1978, "Estimating the dimension of a model": least
 * n ln(sum of squares) + k ln n). Null when there are fewer than three finite values.
 */
export function fitSurface(
  samples: Samples,
  widthPx: number,
  heightPx: number,
  maxOrder = 3,
): Surface | null {
  const kept: number[] = [];
  for (let i = 0; i < samples.value.length; i++) if (Number.isFinite(samples.value[i])) kept.push(i);
  if (kept.length < 3) return null;
  const halfX = (widthPx - 1) / 2 || 1;
  const halfY = (heightPx - 1) / 2 || 1;
  const basisAt = (xPx: number, yPx: number, order: number) => basis(xPx / halfX - 1, yPx / halfY - 1, order);
  const values = kept.map((i) => samples.value[i]);
  const rowsOf = (order: number) => kept.map((i) => basisAt(samples.xPx[i], samples.yPx[i], order));

  let highest = maxOrder;
  while (highest > 0 && terms(highest) * STARS_PER_TERM > kept.length) highest--;
  let robust = robustFit(rowsOf(highest), values, terms(highest));
  while (!robust && highest > 0) robust = robustFit(rowsOf(--highest), values, terms(highest));
  if (!robust) return null;

  const { weights, scatter } = robust;
  const used = weights.filter((weight) => weight > 0).length;
  let [order, solved, least] = [highest, robust.solved, Infinity];
  for (let tried = 0; tried <= highest; tried++) {
    const rows = rowsOf(tried);
    const candidate = solveWeighted(rows, values, weights, terms(tried));
    if (!candidate) continue;
    const squares = values.reduce(
      (sum, value, i) => sum + weights[i] * (value - dot(rows[i], candidate.coefficients)) ** 2,
      0,
    );
    const cost = used * Math.log(squares + Number.MIN_VALUE) + terms(tried) * Math.log(used);
    if (cost < least) [order, solved, least] = [tried, candidate, cost];
  }
  const { coefficients, inverse } = solved;
  return {
    order,
    scatter,
    used,
    at: (xPx, yPx) => dot(basisAt(xPx, yPx, order), coefficients),
    sigmaAt: (xPx, yPx) => {
      const b = basisAt(xPx, yPx, order);
      const variance = dot(
        b,
        inverse.map((row) => dot(row, b)),
      );
      return scatter * Math.sqrt(Math.max(0, variance));
    },
  };
}

/** Iteratively reweighted least squares; null when the places do not determine the coefficients. */
function robustFit(rows: number[][], values: number[], size: number): Robust | null {
  let weights = values.map(() => 1);
  let solved = solveWeighted(rows, values, weights, size);
  if (!solved) return null;
  let scatter = 0;
  for (let round = 0; round < ROUNDS; round++) {
    const { coefficients } = solved;
    const residuals = values.map((value, i) => value - dot(rows[i], coefficients));
    scatter = MAD_TO_SIGMA * median(residuals.map(Math.abs));
    if (!(scatter > 0)) break;
    const lighter: number[] = residuals.map((r) => biweight(r / (TUKEY * scatter)));
    const next: Solved | null = solveWeighted(rows, values, lighter, size);
    if (!next) break;
    [weights, solved] = [lighter, next];
  }
  return { solved, weights, scatter };
}

/** The surface on a grid of `columns` x `rows` cells whose outer samples lie on the sensor's border; row-major. */
export function sampleSurface(
  surface: Pick<Surface, 'at'>,
  widthPx: number,
  heightPx: number,
  columns: number,
  rows: number,
): Float64Array {
  const grid = new Float64Array(columns * rows);
  for (let row = 0; row < rows; row++)
    for (let column = 0; column < columns; column++)
      grid[row * columns + column] = surface.at(
        (column / (columns - 1)) * (widthPx - 1),
        (row / (rows - 1)) * (heightPx - 1),
      );
  return grid;
}

function basis(u: number, v: number, order: number): number[] {
  const out: number[] = [];
  for (let total = 0; total <= order; total++)
    for (let powerV = 0; powerV <= total; powerV++) out.push(u ** (total - powerV) * v ** powerV);
  return out;
}

const biweight = (r: number): number => (Math.abs(r) < 1 ? (1 - r * r) ** 2 : 0);

const dot = (a: ArrayLike<number>, b: ArrayLike<number>): number => {
  let sum = 0;
  for (let i = 0; i < a.length; i++) sum += a[i] * b[i];
  return sum;
};

function median(values: number[]): number {
  const sorted = [...values].sort((a, b) => a - b);
  const middle = sorted.length >> 1;
  return sorted.length % 2 ? sorted[middle] : (sorted[middle - 1] + sorted[middle]) / 2;
}

interface Robust {
  solved: Solved;
  weights: number[];
  scatter: number;
}

interface Solved {
  coefficients: number[];
  /** Inverse of the weighted normal matrix, for the standard errors. */
  inverse: number[][];
}

/** Normal equations by Gauss-Jordan with pivoting: ten unknowns at most, scaled coordinates. Null when singular. */
function solveWeighted(rows: number[][], values: number[], weights: number[], size: number): Solved | null {
  const augmented = Array.from({ length: size }, (_, i) =>
    Array.from({ length: 2 * size }, (_, j) => (j === size + i ? 1 : 0)),
  );
  const right = new Array<number>(size).fill(0);
  rows.forEach((row, k) => {
    const weight = weights[k];
    if (weight === 0) return;
    for (let i = 0; i < size; i++) {
      right[i] += weight * row[i] * values[k];
      for (let j = 0; j < size; j++) augmented[i][j] += weight * row[i] * row[j];
    }
  });
  for (let pivot = 0; pivot < size; pivot++) {
    let best = pivot;
    for (let i = pivot + 1; i < size; i++)
      if (Math.abs(augmented[i][pivot]) > Math.abs(augmented[best][pivot])) best = i;
    if (Math.abs(augmented[best][pivot]) < 1e-9) return null;
    [augmented[pivot], augmented[best]] = [augmented[best], augmented[pivot]];
    const scale = 1 / augmented[pivot][pivot];
    for (let j = 0; j < 2 * size; j++) augmented[pivot][j] *= scale;
    for (let i = 0; i < size; i++) {
      if (i === pivot || augmented[i][pivot] === 0) continue;
      const by = augmented[i][pivot];
      for (let j = 0; j < 2 * size; j++) augmented[i][j] -= by * augmented[pivot][j];
    }
  }
  const inverse = augmented.map((row) => row.slice(size));
  return { coefficients: inverse.map((row) => dot(row, right)), inverse };
}
