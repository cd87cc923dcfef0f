import { readFileSync } from 'node:fs';
import { PARAMETER_COUNT } from '../../workers/fit/parameters.ts';
import { verdictOf } from '../../workers/verdict/verdict.ts';
import type { FrameRun } from './run-frame.ts';
import { score } from './score.ts';
import type { Scored } from './score.ts';

/** One field as a line of a file: what was scored, and what its verdict rested on. */
export type SavedField = Scored & { title: string; evidence?: FrameRun };

/** The line of one field; of the report only what the verdict reads, numbers to seven digits. */
export function savedLine(title: string, scored: Scored, { report, ...run }: FrameRun): string {
  const evidence = {
    ...run,
    report: report && { fault: report.fault, frame: report.frame, sensor: report.sensor },
    judgement: null,
  };
  return JSON.stringify({ title, ...scored, evidence }, (_, value: unknown) =>
    typeof value === 'number' ? Number(value.toPrecision(7)) : value,
  );
}

export const savedFields = (files: readonly string[]): SavedField[] =>
  files.flatMap((file) =>
    readFileSync(file, 'utf8')
      .trim()
      .split('\n')
      .map((line) => JSON.parse(line) as SavedField),
  );

/** A saved field judged by today's rules; as it was where its evidence was not kept. */
export function judgedAgain({ evidence, ...field }: SavedField): SavedField {
  if (!evidence?.fit || !evidence.report) return field;
  const { fit, report, rig, look } = evidence;
  if (fit.theta.length !== PARAMETER_COUNT)
    throw new Error(`${field.name} was saved by a model of other parameters: run the bench again.`);
  const judgement = verdictOf(fit, report, rig, look);
  return { ...field, ...score({ ...evidence, judgement }), evidence: { ...evidence, judgement } };
}
