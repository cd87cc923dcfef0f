import { fitField, type FitProgress, type StarPoolMaker } from './fit/fit-field.ts';
import type { Physics } from './protocol/api.ts';
import { success, type Outcome } from './protocol/faults.ts';
import type { FrameReport } from './protocol/report.ts';
import type { Rig } from './protocol/rig.ts';
import type { StampSet } from './protocol/stamps.ts';
import { adviceOn } from './verdict/advice.ts';
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
  const fitted = await fitField(stamps, known, rig, makePool, onProgress, signal);
  if (!fitted.ok) return fitted;
  const judged = verdictOf(fitted.value, report, rig);
  const corners = judged.budget.find(({ where }) => where === 'corners')!.variancePx2;
  return success({
    ...judged,
    field: fitted.value,
    advice: adviceOn(fitted.value, judged, report, rig),
    round: circleWithoutComa(fitted.value, corners),
  });
}

/** The report with the fit's parts filled in, or with the reason why they are missing among its warnings. */
export function withPhysics(report: FrameReport, physics: Outcome<Physics>): FrameReport {
  if (!physics.ok) return { ...report, warnings: [...report.warnings, physics.fault.message] };
  const { model, budget, causes, verdict, warnings } = physics.value;
  return { ...report, model, budget, causes, verdict, warnings: [...report.warnings, ...warnings] };
}
