import type { FrameReport } from '../workers/protocol/report.ts';
import type { SeriesRecord } from '../workers/protocol/series.ts';
import { trackRun } from '../workers/series/track.ts';
import type { Arguments } from './arguments.ts';
import { readableRun } from './readable-run.ts';

/** A file of a run: what is printed of it, and what the run keeps of it. */
export interface MeasuredFile {
  report: FrameReport;
  record: SeriesRecord;
}

/** All that `--series` prints: the frames in order of time, then the run. */
export function printedRun(files: MeasuredFile[], options: Arguments, colour: boolean): string {
  const result = trackRun(
    files.map(({ record }) => record),
    { focusUmPerStep: options.focusUmPerStep },
  );
  const reports = result.frames.map(({ record }) => files[record].report);
  if (!options.json) return readableRun(reports, result, colour);
  const lines = [...reports, { series: result.report }].map((each) => JSON.stringify(each));
  return `${lines.join('\n')}\n`;
}
