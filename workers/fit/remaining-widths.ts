import type { RemainingWidths, RemovablePart } from '../protocol/model.ts';
import type { Estimate } from '../protocol/report.ts';
import type { Kernels } from '../wasm/kernels.ts';
import { cornerPlaces } from './budget.ts';
import { choleskyFactor } from '../math/linear.ts';
import { drawnWithout, largestVariance } from './drawn-field.ts';
import type { FieldFit } from './field-fit.ts';
import { modelWidths, pictureReachPx } from './model-width.ts';
import { PARAMETER_COUNT } from './parameters.ts';

/**
 * No width is better known than this share of itself: physics that the model leaves out. Widths go as squares, so what
 * that leaves open of the whole width is W / w times as much of a width w that remains of it.
 */
const LEAST_RELATIVE_SIGMA = 0.01;
/** Nodes and weights of Gauss-Legendre quadrature with three points (Abramowitz & Stegun 25.4.30). */
const GAUSS = [
  { at: -Math.sqrt(0.6), weight: 5 / 18 },
  { at: 0, weight: 8 / 18 },
  { at: Math.sqrt(0.6), weight: 5 / 18 },
];

/**
 * Widths of the model's stars without some parts of their blur. Standard errors: the widths of fields displaced by the
 * columns of the covariance's Cholesky factor, which is the first-order error with all correlations.
 */
export function remainingWidths(
  kernels: Kernels,
  fit: FieldFit,
  without: readonly RemovablePart[],
): RemainingWidths {
  const radius = Math.hypot(fit.widthPx - 1, fit.heightPx - 1);
  const [x, y] = [(fit.widthPx - 1) / radius, (fit.heightPx - 1) / radius];
  const corners = cornerPlaces(fit).map(({ xi, eta }) => ({ xi, eta, weight: 1 / 4 }));
  const whole = GAUSS.flatMap((u) =>
    GAUSS.map((v) => ({ xi: u.at * x, eta: v.at * y, weight: u.weight * v.weight })),
  );
  const widths = modelWidths(kernels, fit.optics, pictureReachPx(largestVariance(fit), fit.optics));
  const look = (theta: Float64Array, left: readonly RemovablePart[] = without) => {
    const field = drawnWithout(fit, left, theta);
    const mean = (places: typeof corners) =>
      places.reduce((sum, p) => sum + p.weight * widths.fwhmAt(field.theta, field.path, p.xi, p.eta), 0);
    return [widths.fwhmAt(field.theta, field.path, 0, 0), mean(corners), mean(whole)];
  };
  const values = look(Float64Array.from(fit.theta));
  const asIs = without.length ? look(Float64Array.from(fit.theta), []) : values;
  const variance = [0, 0, 0];
  for (const column of errorColumns(fit)) {
    const moved = look(Float64Array.from(fit.theta, (value, i) => value + column[i]));
    moved.forEach((width, i) => (variance[i] += (width - values[i]) ** 2));
  }
  widths.close();
  const [centrePx, cornersPx, meanPx] = values.map((value, i): Estimate => ({
    value,
    sigma: Math.max(Math.sqrt(variance[i]), (LEAST_RELATIVE_SIGMA * asIs[i] ** 2) / value),
  }));
  return { centrePx, cornersPx, meanPx };
}

/** Displacements of all parameters whose squares add up to the covariance. */
function errorColumns({ covariance }: FieldFit): Float64Array[] {
  const free = Array.from({ length: PARAMETER_COUNT }, (_, i) => i).filter(
    (i) => covariance[i * PARAMETER_COUNT + i] > 0,
  );
  const n = free.length;
  const block = new Float64Array(n * n);
  free.forEach((a, i) =>
    free.forEach((b, j) => {
      block[i * n + j] = covariance[a * PARAMETER_COUNT + b] * (i === j ? 1 + 1e-9 : 1);
    }),
  );
  const factor = choleskyFactor(block, n);
  return Array.from({ length: n }, (_, column) => {
    const moved = new Float64Array(PARAMETER_COUNT);
    free.forEach((parameter, row) => {
      // A covariance that is none (rounding) still tells each parameter's own error.
      if (factor) moved[parameter] = row >= column ? factor[row * n + column] : 0;
      else if (row === column) moved[parameter] = Math.sqrt(block[row * n + row]);
    });
    return moved;
  });
}
