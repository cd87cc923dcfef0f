import { expose } from 'comlink';
import { tellLiving } from './living.ts';
import { success } from './protocol/faults.ts';
import type { RunFrame, RunWorkerApi } from './protocol/run.ts';
import { judgeRun } from './series/judge.ts';

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
};

expose(api);
tellLiving();
