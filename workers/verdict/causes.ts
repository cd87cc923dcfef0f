import { FAMILY, MODEL_CAUSES } from '../fit/causes.ts';
import type { ModelCause } from '../fit/causes.ts';
import type { FieldFit } from '../fit/field-fit.ts';
import { isRotation } from '../fit/budget.ts';
import { invertSymmetric } from '../math/linear.ts';
import { GROUPS, P, PARAMETER_COUNT } from '../fit/parameters.ts';
import type { BudgetEntry, BudgetPart, Cause, CauseEntry } from '../protocol/report.ts';

/** Parts that are nobody's fault or no part of their own. */
const BASE_PARTS: readonly BudgetPart[] = ['roundBlur', 'diffraction', 'pixel', 'cross', 'total'];
/** The coma's node farther than this many half-diagonals from the centre: the mirror looks past the sensor. */
const NODE_LIMIT = 0.25;
/** Significance is told up to here; beyond it says nothing more. */
const MOST_SIGNIFICANT = 999;

export interface WeighedCause extends CauseEntry {
  key: ModelCause['key'];
  /** Mean variance in the corners, px^2 per axis. */
  cornerVariancePx2: number;
}

/** All causes that the model holds, largest share of the corners first. */
export function weighCauses(fit: FieldFit, budget: BudgetEntry[]): WeighedCause[] {
  const corners = budget.find(({ where }) => where === 'corners')!.variancePx2;
  const sum = Object.entries(corners)
    .filter(([part]) => !BASE_PARTS.includes(part as BudgetPart))
    .reduce((total, [, variance]) => total + variance, 0);
  const causes: WeighedCause[] = [];
  for (const cause of MODEL_CAUSES) {
    const variance = cause.parts.reduce((total, part) => total + corners[part], 0);
    if (!(variance > 0)) continue;
    const significance = significanceOf(fit, cause);
    const share = variance / sum;
    const name = nameOf(cause, fit);
    causes.push({
      key: cause.key,
      cause: name,
      family: FAMILY[name],
      // A variance is the square of an amplitude: twice its relative error; shares cannot stray past 0 and 1.
      cornerShare: {
        value: share,
        sigma: Math.max(0.005, (2 * share * (1 - share)) / Math.max(significance, 0.5)),
      },
      significance,
      cornerFwhmWithoutPx: fit.cornerFwhmWithoutPx[cause.key] ?? fit.cornerFwhmPx,
      cornerVariancePx2: variance,
    });
  }
  return causes.sort((a, b) => b.cornerVariancePx2 - a.cornerVariancePx2);
}

/** Root of the Wald chi squared of a cause's parameters: by how many standard errors it is not zero. */
function significanceOf(fit: FieldFit, { groups, key }: ModelCause): number {
  if (key === 'dispersion') {
    const { dispersionPx } = fit;
    if (!dispersionPx) return 0;
    const pull = (axis: 'x' | 'y') => dispersionPx[axis].value / Math.max(dispersionPx[axis].sigma, 1e-6);
    return Math.min(MOST_SIGNIFICANT, Math.hypot(pull('x'), pull('y')));
  }
  const members = groups
    .filter((group) => fit.groups.includes(group))
    .flatMap((group) => GROUPS[group].map((name) => P[name] as number));
  const n = members.length;
  if (n === 0) return 0;
  const block = new Float64Array(n * n);
  members.forEach((a, i) =>
    members.forEach((b, j) => (block[i * n + j] = fit.covariance[a * PARAMETER_COUNT + b])),
  );
  const inverse = invertSymmetric(block, n);
  if (!inverse) return 0;
  let chi2 = 0;
  members.forEach((a, i) =>
    members.forEach((b, j) => (chi2 += fit.theta[a] * inverse[i * n + j] * fit.theta[b])),
  );
  return Math.min(MOST_SIGNIFICANT, Math.sqrt(chi2));
}

function nameOf({ key }: ModelCause, fit: FieldFit): Cause {
  const { theta } = fit;
  switch (key) {
    case 'coma': {
      const constant = Math.hypot(theta[P.comaX], theta[P.comaY]);
      return constant > NODE_LIMIT * Math.abs(theta[P.comaField]) ? 'collimation' : 'coma';
    }
    case 'motion':
      return fit.groups.includes('rotation') && isRotation(theta) ? 'rotation' : 'trailing';
    default:
      return key;
  }
}
