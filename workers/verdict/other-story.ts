import { blurBudget } from '../fit/budget.ts';
import { MODEL_CAUSES, type ModelCause } from '../fit/causes.ts';
import { budgetInput } from '../fit/drawn-field.ts';
import type { FieldFit, Rival } from '../fit/field-fit.ts';
import type { OtherStory } from '../protocol/api.ts';
import type { Cause } from '../protocol/report.ts';

/** The model's own name of a cause; null for what no parameter of it makes. */
export function modelCauseOf(cause: Cause): ModelCause | null {
  const key =
    cause === 'collimation' ? 'coma' : cause === 'trailing' || cause === 'rotation' ? 'motion' : cause;
  return MODEL_CAUSES.find((entry) => entry.key === key) ?? null;
}

/** The causes that a rival has with their variances in its corners, largest first. */
function leaningOn(fit: FieldFit, rival: Rival): { cause: ModelCause; variance: number }[] {
  const budget = blurBudget({
    ...budgetInput(fit),
    theta: rival.theta,
    path: rival.path,
    dispersionPx: { x: 0, y: 0 },
  }).find(({ where }) => where === 'corners')!.variancePx2;
  return MODEL_CAUSES.filter(({ groups }) => groups.some((group) => rival.groups.includes(group)))
    .map((cause) => ({ cause, variance: cause.parts.reduce((sum, part) => sum + budget[part], 0) }))
    .filter(({ variance }) => variance > 0)
    .sort((a, b) => b.variance - a.variance);
}

const named = (key: ModelCause['key']): Cause => (key === 'motion' ? 'trailing' : key);

/** The cause that a rival leans on: the largest in its corners among those it has, `missing` left out. */
export function standIn(fit: FieldFit, rival: Rival, missing: ModelCause['key']): Cause {
  const other = leaningOn(fit, rival).find(({ cause }) => cause.key !== missing);
  return other ? named(other.cause.key) : 'seeing';
}

/** The nearest explanation of round stars that hides a cause of at least this variance in their corners. */
export function hiddenStory(
  fit: FieldFit,
  leastPx2: (key: ModelCause['key']) => number,
): { cause: Cause; gap: number } | null {
  for (const rival of fit.rivals) {
    const [most] = leaningOn(fit, rival);
    if (most && most.variance > leastPx2(most.cause.key))
      return { cause: named(most.cause.key), gap: rival.gap };
  }
  return null;
}

/** The nearest explanation that leans on another cause: one that leans on the same leaves the verdict as it is. */
export const contender = (fit: FieldFit, key: ModelCause['key']): Rival | null =>
  fit.rivals.find((rival) => leaningOn(fit, rival)[0]?.cause.key !== key) ?? null;

/** The nearest explanation that was fitted and does without a cause; null where every one of them has it. */
export function otherStory(fit: FieldFit, cause: Cause): OtherStory | null {
  const own = modelCauseOf(cause);
  if (!own || own.groups.length === 0) return null;
  const without = fit.rivals.filter(({ groups }) => !groups.some((group) => own.groups.includes(group)));
  if (without.length === 0) return null;
  const nearest = without.reduce((a, b) => (a.gap <= b.gap ? a : b));
  return { cause: standIn(fit, nearest, own.key), gap: nearest.gap, atLeast: nearest.atLeast };
}
