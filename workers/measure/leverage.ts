import type { Workspace } from './workspace.ts';

const PARAMETERS = 7;
/** Arrays of the list that hold the derivatives after a fit, by parameter (kernels/fit.ts); the background's are all 1. */
const DERIVATIVES = [5, null, 6, 7, 8, 9, 10];

/**
 * How far each pixel's own noise pulls the profile just fitted along: h = w g' C g with w the inverse variance, g the
 * derivatives and C the covariance of the parameters. Its residual keeps 1 - h of the variance (Cook & Weisberg 1982,
 * Residuals and Influence in Regression, ch. 2). To be asked right after a fit of all parameters.
 */
export function profileLeverages(space: Workspace, count: number): Float64Array {
  const { covariance, weight } = space.view;
  const { arena } = space.kernels;
  const columns = DERIVATIVES.map((array) =>
    array === null ? null : arena.f32(space.list + array * space.capacity * 4, space.capacity),
  );
  const leverages = new Float64Array(count);
  const slope = new Float64Array(PARAMETERS);
  for (let pixel = 0; pixel < count; pixel++) {
    for (let p = 0; p < PARAMETERS; p++) slope[p] = columns[p]?.[pixel] ?? 1;
    let sum = 0;
    for (let p = 0; p < PARAMETERS; p++) {
      let row = 0;
      for (let q = 0; q < PARAMETERS; q++) row += covariance[p * PARAMETERS + q] * slope[q];
      sum += slope[p] * row;
    }
    leverages[pixel] = weight[pixel] * sum;
  }
  return leverages;
}
