import type { SeriesRecord } from '../protocol/series.ts';
import { layFrames } from './register.ts';

type Answer = ReturnType<typeof layFrames>;

/** The judgement and the path order a run each in its own way. */
const REMEMBERED = 2;
let answers: { records: readonly SeriesRecord[]; answer: Answer }[] = [];

/**
 * `layFrames`, remembered for the records asked last: a long run is judged, tracked, and judged again whenever a limit is
 * moved, and laying it takes most of the time. The answer is shared and must not be changed.
 */
export function layAgain(records: readonly SeriesRecord[]): Answer {
  const known = answers.find((each) => same(each.records, records));
  if (known) return known.answer;
  const answer = layFrames(records);
  answers = [{ records: [...records], answer }, ...answers].slice(0, REMEMBERED);
  return answer;
}

const same = (a: readonly SeriesRecord[], b: readonly SeriesRecord[]): boolean =>
  a.length === b.length && a.every((record, i) => record === b[i]);
