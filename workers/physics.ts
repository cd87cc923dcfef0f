import { fitField, type FitProgress, type StarPoolMaker } from './fit/fit-field.ts';
import { stampMoments } from './fit/stamp-moments.ts';
import { plainLook } from './verdict/plain/plain-look.ts';
import type { Physics } from './protocol/api.ts';
import { failure, success, type Outcome } from './protocol/faults.ts';
import type { FrameReport } from './protocol/report.ts';
import type { Rig } from './protocol/rig.ts';
import type { StampSet } from './protocol/stamps.ts';
import { adviceOn } from './verdict/advice.ts';
import { isRoundPicture } from './verdict/round-picture.ts';
import { circleWithoutComa, verdictOf } from './verdict/verdict.ts';

/**
 * From stamps to model, budget, causes and verdict. A field that cannot be fitted is answered with a fault, which the
 * report then carries as a warning: what was measured stands all the same.
 */
export async function explainFrame(
  stamps: StampSet,
  report: FrameReport,
  rig: Rig,
  makePool: StarPoolMaker,
  onProgress?: FitProgress,
  signal?: AbortSignal,
): Promise<Outcome<Physics>> {
  const known = report.frame!;
  if (isRoundPicture(stamps)) return failure('not-a-star-field', ROUND_PICTURE);
  const fitted = await fitField(stamps, known, rig, makePool, onProgress, signal);
  if (!fitted.ok) return fitted;
  const judged = verdictOf(fitted.value, report, rig, plainLook(stamps, stampMoments(stamps)), stamps.nature);
  const corners = judged.budget.find(({ where }) => where === 'corners')!.variancePx2;
  return success({
    ...judged,
    field: fitted.value,
    advice: adviceOn(fitted.value, judged, report, rig),
    round: circleWithoutComa(fitted.value, corners),
  });
}

const ROUND_PICTURE =
  'The stars fill a circle and the corners are empty, as in a picture of the whole sky: what such a lens does to stars is not judged here. Sizes and elongations stand; give a frame that the stars fill.';

/** The report with the fit's parts filled in, or with the reason why they are missing among its warnings. */
export function withPhysics(report: FrameReport, physics: Outcome<Physics>): FrameReport {
  if (!physics.ok) return { ...report, warnings: [...report.warnings, physics.fault.message] };
  const { model, budget, causes, verdict, warnings } = physics.value;
  return { ...report, model, budget, causes, verdict, warnings: [...report.warnings, ...warnings] };
}
