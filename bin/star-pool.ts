import { availableParallelism } from 'node:os';
import { fileURLToPath } from 'node:url';
import { Worker } from 'node:worker_threads';
import { wrap } from 'comlink';
import nodeEndpoint from 'comlink/dist/esm/node-adapter.mjs';
import type { StarPoolMaker } from '../workers/fit/fit-field.ts';
import { SharedStarPool, type StarThreadApi } from '../workers/fit/shared-pool.ts';
import { InlineStarPool } from '../workers/fit/star-pool.ts';

const MOST_THREADS = 4;

/** Star pools of the shell command: helper threads (`star-thread.js`) are started once and used for every file. */
export function threadedPools(thread: URL): { make: StarPoolMaker; close(): void } {
  const count = Math.min(availableParallelism(), MOST_THREADS) - 1;
  const workers = Array.from({ length: count }, () => {
    const worker = new Worker(fileURLToPath(thread));
    worker.unref();
    return worker;
  });
  const threads = workers.map((worker) => ({
    api: wrap<StarThreadApi>(nodeEndpoint(worker)) as unknown as StarThreadApi,
    close: () => {},
  }));
  return {
    make: async (stamps, optics) =>
      SharedStarPool.create(await InlineStarPool.create(stamps, optics), threads, stamps, optics),
    close: () => workers.forEach((worker) => void worker.terminate()),
  };
}
