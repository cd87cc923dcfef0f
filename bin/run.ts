import type { FittedField } from '../workers/protocol/model.ts';
import type { FrameReport } from '../workers/protocol/report.ts';
import type { StampSet } from '../workers/protocol/stamps.ts';
import type { FocusRunResult } from '../workers/protocol/focus-run.ts';
import type { SeriesRecord, SeriesResult } from '../workers/protocol/series.ts';
import { focusRun } from '../workers/series/focus-run.ts';
import { isFocusRun } from '../workers/series/focus-samples.ts';
import { trackRun } from '../workers/series/track.ts';
import type { Arguments } from './arguments.ts';
import { readableRun } from './readable-run.ts';

/** A file of a run: what is printed of it, and what the run keeps of it. */
export interface MeasuredFile {
  report: FrameReport;
  record: SeriesRecord;
  /** What a fit of several frames together takes up; null where the frame was not fitted. */
  stamps: StampSet | null;
  field: FittedField | null;
  /** For the readable report of a single frame. */
  skyLine: string | null;
}

/** All that `--series` prints: the frames in order of time, then the run. */
export function printedRun(files: MeasuredFile[], options: Arguments, colour: boolean): string {
  const records = files.map(({ record }) => record);
  const { focusUmPerStep } = options;
  const focus = isFocusRun(records) ? focusRun(records, { focusUmPerStep }) : null;
  const tracked = trackRun(records, { focusUmPerStep });
  const result = focus?.ok ? asFocusRun(tracked, focus.value) : tracked;
  const reports = result.frames.map(({ record }) => files[record].report);
  if (!options.json) return readableRun(reports, result, colour);
  const lines = [...reports, { series: result.report }].map((each) => JSON.stringify(each));
  return `${lines.join('\n')}\n`;
}

/** Frames at several focus positions answer about focus first. */
const asFocusRun = (
  tracked: SeriesResult,
  { report, used, headline, notes }: FocusRunResult,
): SeriesResult => ({
  ...tracked,
  report: { ...tracked.report, kind: 'focus', used, focus: report },
  headline,
  notes,
});
