import type { FieldFit } from '../fit/field-fit.ts';
import type { Advice } from '../protocol/api.ts';
import type { FrameReport } from '../protocol/report.ts';
import type { Rig } from '../protocol/rig.ts';
import { nextMoves } from './next-moves.ts';
import { DECIDERS } from './rules.ts';
import type { Judgement } from './verdict.ts';

/** For each cause that the model holds: what to do about it, and which frames would tell it from others. */
export function adviceOn(
  fit: FieldFit,
  { model, causes }: Judgement,
  { frame }: Pick<FrameReport, 'frame'>,
  rig: Rig,
): Advice[] {
  return causes.map(({ cause, cornerFwhmWithoutPx }) => ({
    cause,
    next: nextMoves(cause, {
      model,
      rig,
      focalRatio: fit.known.focalRatio ? fit.optics.focalRatio : null,
      exposureS: frame?.exposureS ?? null,
      leftPx: cornerFwhmWithoutPx,
    }),
    deciders: DECIDERS.filter(({ between }) => between.some((side) => side.includes(cause))).map(
      ({ say }) => say,
    ),
  }));
}
