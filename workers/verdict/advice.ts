import type { FieldFit } from '../fit/field-fit.ts';
import type { Advice } from '../protocol/api.ts';
import type { Cause, FrameReport } from '../protocol/report.ts';
import type { Rig } from '../protocol/rig.ts';
import { nextMoves } from './next-moves.ts';
import { otherStory } from './other-story.ts';
import { DECIDERS } from './rules.ts';
import { moveContext, type Judgement } from './verdict.ts';

/** For each cause that the model holds: what to do about it, and which frames would tell it from others. */
export function adviceOn(
  fit: FieldFit,
  { model, budget, causes }: Judgement,
  measured: Pick<FrameReport, 'frame'>,
  rig: Rig,
): Advice[] {
  const corners = budget.find(({ where }) => where === 'corners')!.variancePx2;
  return causes.map(({ cause, cornerFwhmWithoutPx }) => ({
    cause,
    next: nextMoves(cause, moveContext(fit, model, measured, rig, corners, cornerFwhmWithoutPx)),
    deciders: decidersOf(cause),
    instead: otherStory(fit, cause),
  }));
}

/** One sentence for each experiment, the first that the rules give: the same hands would do the others. */
function decidersOf(cause: Cause): string[] {
  const said = new Map<string, string>();
  for (const { between, experiment, say } of DECIDERS)
    if (between.some((side) => side.includes(cause)) && !said.has(experiment)) said.set(experiment, say);
  return [...said.values()];
}
