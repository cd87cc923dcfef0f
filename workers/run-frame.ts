import type { StarPoolMaker } from './fit/fit-field.ts';
import { FIT_STAMPS, type MeasureOptions } from './protocol/api.ts';
import { success, type Outcome } from './protocol/faults.ts';
import type { FrameReport } from './protocol/report.ts';
import { UNKNOWN_RIG } from './protocol/rig.ts';
import type { RunFrame, RunFrameOptions } from './protocol/run.ts';
import type { Source } from './protocol/source.ts';
import type { TogetherFrame } from './protocol/together.ts';
import { recordOf } from './series/record.ts';
import type { FrameSession } from './session.ts';

/** One frame of a run, from bytes to what the run keeps of it. `changedMs`: when the file was last written. */
export async function measureForRun(
  session: FrameSession,
  source: Source,
  changedMs: number,
  options: RunFrameOptions,
  signal?: AbortSignal,
): Promise<Outcome<RunFrame>> {
  const outcome = await session.measure(source, { ...options, numbersAlone: true }, () => {}, signal);
  if (!outcome.ok) return outcome;
  const { handle, stars, meta, view } = outcome.value;
  const report = options.fit
    ? await explained(session, handle, outcome.value.report, options)
    : outcome.value.report;
  return success({
    format: 1,
    name: source.name,
    sizeBytes: source.sizeBytes,
    changedMs,
    record: recordOf(report, stars, meta),
    fault: null,
    sky: { levelAdu: view.skyAdu, noiseAdu: view.noiseAdu },
  });
}

/** What a fit of several frames together needs of one; a frame with a fault has no stamps. */
export async function cutForTogether(
  session: FrameSession,
  source: Source,
  options: MeasureOptions,
): Promise<Outcome<TogetherFrame>> {
  const outcome = await session.measure(source, { ...options, numbersAlone: true });
  if (!outcome.ok) return outcome;
  const { handle, report, stars, meta } = outcome.value;
  const stamps = report.fault ? null : session.stamps(handle, FIT_STAMPS);
  return success({
    record: recordOf(report, stars, meta),
    stamps: stamps?.ok ? stamps.value : null,
    field: null,
  });
}

/** The report with the fit's parts. The fit runs in this thread alone: the other cores have frames of their own. */
async function explained(
  session: FrameSession,
  handle: number,
  report: FrameReport,
  options: RunFrameOptions,
): Promise<FrameReport> {
  const stamps = report.fault ? null : session.stamps(handle, FIT_STAMPS);
  if (!stamps?.ok) return report;
  const [{ explainFrame, withPhysics }, { InlineStarPool }] = await Promise.all([
    import('./physics.ts'),
    import('./fit/star-pool.ts'),
  ]);
  const alone: StarPoolMaker = (set, optics) => InlineStarPool.create(set, optics);
  const rig = { ...UNKNOWN_RIG, ...options.rig };
  return withPhysics(report, await explainFrame(stamps.value, report, rig, alone));
}
