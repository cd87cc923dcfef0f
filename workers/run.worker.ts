import { expose } from 'comlink';
import { tellLiving } from './living.ts';
import { failure, success } from './protocol/faults.ts';
import type { RunFrame, RunWorkerApi } from './protocol/run.ts';
import type { SeriesRecord } from './protocol/series.ts';
import { focusRun } from './series/focus-run.ts';
import { isFocusRun } from './series/focus-samples.ts';
import { judgeRun } from './series/judge.ts';
import { trackRun } from './series/track.ts';

const frames = new Map<string, RunFrame>();

const api: RunWorkerApi = {
  async put(list) {
    for (const [key, frame] of list) frames.set(key, frame);
  },
  async forget() {
    frames.clear();
  },
  async judge(options) {
    return success(judgeRun([...frames], options));
  },
  async track(options) {
    const { keys, records } = measured();
    return success({ keys, result: trackRun(records, options) });
  },
  async focus(told, positions) {
    const { keys, records } = measured();
    const options = { ...told, positions: keys.map((key) => positions[key] ?? null) };
    if (!isFocusRun(records, options)) return success(null);
    const answer = focusRun(records, options);
    return answer.ok ? success({ keys, result: answer.value }) : failure('unsupported', answer.sentence);
  },
};

/** The frames that could be measured, under their keys. */
function measured(): { keys: string[]; records: SeriesRecord[] } {
  const keys: string[] = [];
  const records: SeriesRecord[] = [];
  for (const [key, { record }] of frames)
    if (record) {
      keys.push(key);
      records.push(record);
    }
  return { keys, records };
}

expose(api);
tellLiving();
