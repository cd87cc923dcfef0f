import { expose, wrap } from 'comlink';
import { SharedStarPool, type StarThread, type StarThreadApi } from './fit/shared-pool.ts';
import { InlineStarPool } from './fit/star-pool.ts';
import { tellLiving } from './living.ts';
import { explainFrame } from './physics.ts';
import type { FitWorkerApi } from './protocol/api.ts';
import { explainTogether } from './together.ts';

const MOST_THREADS = 4;

/** Helpers beside this thread: one core is left for the page and what else the machine does. */
function startThreads(): StarThread[] {
  const count = Math.min(Math.max(navigator.hardwareConcurrency - 1, 1), MOST_THREADS) - 1;
  return Array.from({ length: count }, () => {
    const worker = new Worker(new URL('./star.worker.ts', import.meta.url), { type: 'module' });
    return { api: wrap<StarThreadApi>(worker) as unknown as StarThreadApi, close: () => worker.terminate() };
  });
}

const api: FitWorkerApi = {
  fit: (stamps, report, rig, onProgress) =>
    explainFrame(
      stamps,
      report,
      rig,
      async (set, optics) =>
        SharedStarPool.create(await InlineStarPool.create(set, optics), startThreads(), set, optics),
      (done, doing) => onProgress({ done, doing }),
    ),
  together: (frames, rig, onProgress) => {
    // The same helpers for all frames: they end with this worker.
    const threads = startThreads().map(({ api }) => ({ api, close: () => {} }));
    return explainTogether(
      frames,
      rig,
      async (set, optics) =>
        SharedStarPool.create(await InlineStarPool.create(set, optics), threads, set, optics),
      (done, doing) => onProgress({ done, doing }),
    );
  },
};

expose(api);
tellLiving();
