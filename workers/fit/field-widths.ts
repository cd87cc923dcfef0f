import type { StampSet } from '../protocol/stamps.ts';
import { loadKernels } from '../wasm/kernels.ts';
import { blurBudget } from './budget.ts';
import { MODEL_CAUSES } from './causes.ts';
import { without } from './eliminate.ts';
import type { FieldFit } from './field-fit.ts';
import type { FitResult } from './levenberg.ts';
import { modelWidths, pictureReachPx } from './model-width.ts';
import type { Optics } from './optics.ts';
import { removed } from './removed.ts';

/** Widths of the model's stars at the centre and in the mean of the corners, whole and without each cause. */
export async function widthsOf(
  { state, shape }: Pick<FitResult, 'state' | 'shape'>,
  optics: Optics,
  stamps: Pick<StampSet, 'widthPx' | 'heightPx'>,
  dispersionPx: FieldFit['dispersionPx'],
) {
  const { widthPx, heightPx } = stamps;
  const budget = blurBudget({
    optics,
    widthPx,
    heightPx,
    theta: state.theta,
    path: shape.path,
    dispersionPx: { x: dispersionPx?.x.value ?? 0, y: dispersionPx?.y.value ?? 0 },
  });
  const spread = Math.max(...budget.map(({ variancePx2 }) => variancePx2.total));
  const widths = modelWidths(await loadKernels(), optics, pictureReachPx(spread, optics));
  const corners = (theta: Float64Array, path: typeof shape.path) => {
    const radius = Math.hypot(widthPx - 1, heightPx - 1);
    const [x, y] = [(widthPx - 1) / radius, (heightPx - 1) / radius];
    const each = [
      [-x, -y],
      [x, -y],
      [-x, y],
      [x, y],
    ].map(([xi, eta]) => widths.fwhmAt(theta, path, xi, eta));
    return each.reduce((sum, width) => sum + width, 0) / 4;
  };
  const cornerFwhmWithoutPx: Record<string, number> = {};
  for (const cause of MODEL_CAUSES) {
    const groups = cause.groups.filter((group) => shape.groups.has(group));
    if (groups.length === 0) continue;
    cornerFwhmWithoutPx[cause.key] = corners(removed(state.theta, groups), without(shape, groups).path);
  }
  const result = {
    cornerFwhmPx: corners(state.theta, shape.path),
    centreFwhmPx: widths.fwhmAt(state.theta, shape.path, 0, 0),
    cornerFwhmWithoutPx,
  };
  widths.close();
  return result;
}
