import { blurBudget } from '../fit/budget.ts';
import { budgetInput } from '../fit/drawn-field.ts';
import type { FieldFit } from '../fit/field-fit.ts';
import { fieldModel } from '../fit/model-report.ts';
import type {
  BudgetEntry,
  Cause,
  CauseEntry,
  FieldModel,
  FrameReport,
  Region,
  Verdict,
} from '../protocol/report.ts';
import { FAMILY } from '../fit/causes.ts';
import type { Rig } from '../protocol/rig.ts';
import type { Nature } from '../protocol/stamps.ts';
import { weighCauses } from './causes.ts';
import { decide, unavoidable, type Evidence } from './decide.ts';
import { doubtsOf, NO_DOUBTS, type Doubts } from './doubts.ts';
import { goodEnough, headline, sureness } from './headline.ts';
import type { MoveContext } from './move.ts';
import { nextMoves } from './next-moves.ts';
import type { PlainLook } from './plain/plain-look.ts';
import { roundCircle } from './round-circle.ts';
import { DECIDERS, LAST_RESORT, WORTH_NAMING } from './rules.ts';

/** The parts of the report that the field fit fills in. */
export interface Judgement {
  model: FieldModel;
  budget: BudgetEntry[];
  causes: CauseEntry[];
  verdict: Verdict;
  warnings: string[];
}

/** Below this the verdict names the frame that would decide. */
const SURE = 0.9;

/** From a fit, and from how the stars' shapes run over the field, to what a person should know and do. */
export function verdictOf(
  fit: FieldFit,
  measured: Pick<FrameReport, 'frame' | 'sensor'> & Partial<Pick<FrameReport, 'regions'>>,
  rig: Rig,
  look: PlainLook | null = null,
  nature?: Nature,
): Judgement {
  const model = fieldModel(fit);
  const evidence = evidenceOf(fit, measured, rig, look, nature);
  const { budget, weighed, corners } = evidence;
  const { cause: named, confidence, rival, excused, sentence, headline: nothing } = decide(evidence);
  const plain = nothing ?? (sentence && `${sureness(confidence)} ${sentence}`);
  const { notAllStars: notStars, sentences } = evidence.doubts;
  const chosen = weighed.find((entry) => entry.cause === named);
  const leftPx = chosen?.cornerFwhmWithoutPx ?? null;
  const verdict: Verdict = {
    family: FAMILY[named],
    cause: named,
    confidence,
    headline: excused
      ? goodEnough(confidence, excused.cause, excused.times)
      : (plain ??
        headline(named, confidence, model, {
          cornerFwhmPx: fit.cornerFwhmPx,
          withoutPx: reachesCorners(fit.cornerFwhmPx, measured.regions) ? leftPx : null,
        })),
    // Shapes alone name no screw: only a shorter exposure can be advised without the model's numbers.
    next:
      (plain && FAMILY[named] !== 'tracking') || notStars
        ? []
        : nextMoves(named, moveContext(fit, model, measured, rig, corners, leftPx)),
    decider: notStars
      ? { experiment: 'more-frames', do: OTHER_FIELD, between: [named, rival] }
      : confidence < SURE
        ? deciderBetween(named, rival)
        : null,
  };
  return {
    model,
    budget,
    causes: weighed.map(({ cause, family, cornerShare, significance, cornerFwhmWithoutPx }) => ({
      cause,
      family,
      cornerShare,
      significance,
      cornerFwhmWithoutPx,
    })),
    verdict,
    warnings: [...fit.warnings, ...sentences, ...(plain !== undefined && !notStars ? [SHAPES_ALONE] : [])],
  };
}

/** What a decision rests on, from the same four. */
export function evidenceOf(
  fit: FieldFit,
  measured: Pick<FrameReport, 'sensor'>,
  rig: Rig,
  look: PlainLook | null,
  nature?: Nature,
): Evidence & { budget: BudgetEntry[]; doubts: Doubts } {
  const budget = blurBudget(budgetInput(fit));
  const corners = budget.find(({ where }) => where === 'corners')!.variancePx2;
  const fwhmPx = measured.sensor.fwhmPx?.value ?? null;
  return {
    fit,
    weighed: weighCauses(fit, budget),
    budget,
    corners,
    rig,
    fwhmPx,
    look,
    doubts: nature ? doubtsOf(nature, fit.path) : NO_DOUBTS,
  };
}

/** No star of the outer cells is nearly as wide as the model makes the corners: they are empty, as in a picture of all the sky. */
function reachesCorners(cornerFwhmPx: number, regions: Region[] = []): boolean {
  const widest = Math.max(0, ...regions.map(({ fwhmPx }) => fwhmPx?.value ?? 0));
  return widest === 0 || cornerFwhmPx < BEYOND_MEASURED * widest;
}
const BEYOND_MEASURED = 2;

const OTHER_FIELD =
  'Point at a field with more stars, in the Milky Way for one, and take the same frame there.';

const SHAPES_ALONE =
  'The model of the telescope does not describe these stars well: the verdict rests on their plain shapes, and the shares of the causes are a guess.';

/** Where coma of the field stays below what is worth naming. */
export const circleWithoutComa = (fit: FieldFit, corners: BudgetEntry['variancePx2']) =>
  roundCircle(fit, WORTH_NAMING.coma.share * unavoidable(corners));

/** What a piece of advice may refer to; `leftPx`: the corners' width once its cause is gone. */
export const moveContext = (
  fit: FieldFit,
  model: FieldModel,
  measured: Pick<FrameReport, 'frame'>,
  rig: Rig,
  corners: BudgetEntry['variancePx2'],
  leftPx: number | null,
): MoveContext => ({
  model,
  rig,
  focalRatio: fit.known.focalRatio ? fit.optics.focalRatio : null,
  exposureS: measured.frame?.exposureS ?? null,
  leftPx: leftPx ?? fit.cornerFwhmPx,
  roundCircle: circleWithoutComa(fit, corners),
});

function deciderBetween(cause: Cause, rival: Cause): Verdict['decider'] {
  const rule = DECIDERS.find(
    ({ between: [a, b] }) =>
      (a.includes(cause) && b.includes(rival)) || (b.includes(cause) && a.includes(rival)),
  );
  const { experiment, say } = rule ?? LAST_RESORT;
  return { experiment, do: say, between: [cause, rival] };
}
