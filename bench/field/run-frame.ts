import { fitField } from '../../workers/fit/fit-field.ts';
import type { StarPoolMaker } from '../../workers/fit/fit-field.ts';
import type { FieldFit } from '../../workers/fit/field-fit.ts';
import { FIT_STAMPS } from '../../workers/protocol/api.ts';
import type { Fault } from '../../workers/protocol/faults.ts';
import type { FrameReport } from '../../workers/protocol/report.ts';
import { UNKNOWN_RIG } from '../../workers/protocol/rig.ts';
import type { Rig } from '../../workers/protocol/rig.ts';
import type { Source } from '../../workers/protocol/source.ts';
import type { FrameSession } from '../../workers/session.ts';
import { stampMoments } from '../../workers/fit/stamp-moments.ts';
import { plainLook } from '../../workers/verdict/plain/plain-look.ts';
import type { PlainLook } from '../../workers/verdict/plain/plain-look.ts';
import { verdictOf } from '../../workers/verdict/verdict.ts';
import type { Judgement } from '../../workers/verdict/verdict.ts';
import type { FieldTruth } from './truth.ts';

/** Everything that came out of one frame, and how long its stages took. */
export interface FrameRun {
  truth: FieldTruth;
  fault: Fault | null;
  report: FrameReport | null;
  fit: FieldFit | null;
  judgement: Judgement | null;
  /** What the verdict saw beside fit and report. */
  rig: Rig;
  look: PlainLook | null;
  stamps: number;
  sidePx: number;
  measureMs: number;
  fitMs: number;
}

/** Frame to verdict through the product's own pipeline, with the optics that the truth names. */
export async function runFrame(
  session: FrameSession,
  source: Source,
  truth: FieldTruth,
  makePool: StarPoolMaker,
): Promise<FrameRun> {
  const rig: Rig = {
    ...UNKNOWN_RIG,
    focalLengthMm: truth.focalLengthMm,
    apertureMm: truth.focalLengthMm / truth.focalRatio,
    obstruction: truth.obstruction,
    usualSeeingArcsec: truth.usualSeeingArcsec,
    pixelSizeUm: truth.pixelUm,
  };
  const run: FrameRun = {
    truth,
    fault: null,
    report: null,
    fit: null,
    judgement: null,
    rig,
    look: null,
    stamps: 0,
    sidePx: 0,
    measureMs: 0,
    fitMs: 0,
  };
  const begun = performance.now();
  const measured = await session.measure(source, { rig });
  if (!measured.ok) return { ...run, fault: measured.fault };
  const { report, handle } = measured.value;
  const stamps = session.stamps(handle, FIT_STAMPS);
  run.measureMs = performance.now() - begun;
  if (report.fault) return { ...run, report, fault: report.fault };
  if (!stamps.ok) return { ...run, report, fault: stamps.fault };
  run.stamps = stamps.value.count;
  run.sidePx = stamps.value.sidePx;
  const started = performance.now();
  const facts = report.frame ?? {
    focalLengthMm: null,
    apertureMm: null,
    pixelSizeUm: null,
    obstruction: null,
  };
  const fit = await fitField(stamps.value, facts, rig, makePool);
  run.fitMs = performance.now() - started;
  if (!fit.ok) return { ...run, report, fault: fit.fault };
  const look = plainLook(stamps.value, stampMoments(stamps.value));
  return {
    ...run,
    report,
    fit: fit.value,
    look,
    judgement: verdictOf(fit.value, report, rig, look, stamps.value.nature),
  };
}
