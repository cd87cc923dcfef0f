import type { FittedField, Place, RemovablePart } from '../protocol/model.ts';
import { blurBudget, isRotation, type BudgetInput } from './budget.ts';
import type { FieldFit } from './field-fit.ts';
import type { DrawnField } from './model-picture.ts';
import { P } from './parameters.ts';
import type { Group } from './parameters.ts';
import { removed } from './removed.ts';

/** A round blur that no picture can tell from none, px. */
const NO_BLUR_PX = 0.3;

/** What the page hands back is what the fit gave it. */
export const fitOf = (field: FittedField): FieldFit => field as unknown as FieldFit;

export const budgetInput = (fit: FieldFit): BudgetInput => ({
  optics: fit.optics,
  widthPx: fit.widthPx,
  heightPx: fit.heightPx,
  theta: fit.theta,
  path: fit.path,
  dispersionPx: { x: fit.dispersionPx?.x.value ?? 0, y: fit.dispersionPx?.y.value ?? 0 },
});

/** Largest per-axis variance over centre and corners, px^2: how large a picture must be. */
export const largestVariance = (fit: FieldFit): number =>
  Math.max(...blurBudget(budgetInput(fit)).map(({ variancePx2 }) => variancePx2.total));

/** Field coordinates of a place: half-diagonals from the sensor's centre. */
export function fieldPlace(
  { widthPx, heightPx }: FieldFit,
  { xPx, yPx }: Place,
): { xi: number; eta: number } {
  const radiusPx = Math.hypot(widthPx - 1, heightPx - 1) / 2;
  return { xi: (xPx - (widthPx - 1) / 2) / radiusPx, eta: (yPx - (heightPx - 1) / 2) / radiusPx };
}

/** The fitted field without some parts of its blur, `theta` in place of the fitted one where given. */
export function drawnWithout(
  fit: FieldFit,
  without: readonly RemovablePart[],
  theta: Float64Array = Float64Array.from(fit.theta),
): DrawnField {
  const out = removed(
    theta,
    without.flatMap((part) => groupsOf(part, fit)),
  );
  if (without.includes('roundBlur')) {
    out[P.lnBlur] = Math.log(NO_BLUR_PX);
    out[P.core] = 0;
  }
  return { theta: out, path: fit.path };
}

/** Groups that make a part of the budget: the inverse of how the budget names its parts. */
function groupsOf(part: RemovablePart, fit: FieldFit): Group[] {
  switch (part) {
    case 'roundBlur':
      return [];
    case 'coma':
      return ['comaField'];
    case 'collimation':
      return ['comaConstant'];
    case 'astigmatism':
      return ['astigmatism', 'astigmatismField', 'astigmatismLinear'];
    case 'pinching':
      return ['trefoil'];
    case 'trailing':
      return ['motion', 'path'];
    case 'rotation':
      return isRotation(fit.theta) ? ['motion', 'rotation'] : ['rotation'];
    default:
      return [part];
  }
}

/** Whether dropping one part drops groups of the other. */
export const sameGroups = (a: RemovablePart, b: RemovablePart, fit: FieldFit): boolean =>
  a === b || groupsOf(a, fit).some((group) => groupsOf(b, fit).includes(group));
