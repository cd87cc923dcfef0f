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

/** The causes that a rival has, largest in its corners first. */
function leaningOn(fit: FieldFit, rival: Rival): ModelCause[] {
  const budget = blurBudget({
    ...budgetInput(fit),
    theta: rival.theta,
    path: rival.path,
    dispersionPx: { x: 0, y: 0 },
  }).find(({ where }) => where === 'corners')!.variancePx2;
  return MODEL_CAUSES.filter(({ groups }) => groups.some((group) => rival.groups.includes(group)))
    .map((cause) => ({ cause, variance: cause.parts.reduce((sum, part) => sum + budget[part], 0) }))
    .filter(({ variance }) => variance > 0)
    .sort((a, b) => b.variance - a.variance)
    .map(({ cause }) => cause);
}

/** The cause that a rival leans on: the largest in its corners among those it has, `missing` left out. */
export function standIn(fit: FieldFit, rival: Rival, missing: ModelCause['key']): Cause {
  const key = leaningOn(fit, rival).find((cause) => cause.key !== missing)?.key;
  return key === undefined ? 'seeing' : key === 'motion' ? 'trailing' : key;
}

/** The nearest explanation whose largest cause is this one. */
export const storyOf = (fit: FieldFit, key: ModelCause['key']): Rival | null =>
  fit.rivals.find((rival) => leaningOn(fit, rival)[0]?.key === key) ?? null;

/** The nearest explanation that leans on another cause: one that leans on the same leaves the verdict as it is. */
export const contender = (fit: FieldFit, key: ModelCause['key']): Rival | null =>
  fit.rivals.find((rival) => leaningOn(fit, rival)[0]?.key !== key) ?? null;

/** The nearest explanation that was fitted and does without a cause; null where every one of them has it. */
export function otherStory(fit: FieldFit, cause: Cause): OtherStory | null {
  const own = modelCauseOf(cause);
  if (!own || own.groups.length === 0) return null;
  const without = fit.rivals.filter(({ groups }) => !groups.some((group) => own.groups.includes(group)));
  if (without.length === 0) return null;
  const nearest = without.reduce((a, b) => (a.gap <= b.gap ? a : b));
  return { cause: standIn(fit, nearest, own.key), gap: nearest.gap, atLeast: nearest.atLeast };
}
