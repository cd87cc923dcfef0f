import { parentPort } from 'node:worker_threads';
import { expose } from 'comlink';
import nodeEndpoint from 'comlink/dist/esm/node-adapter.mjs';
import { starThreadApi } from '../workers/fit/star-thread.ts';

/** A helper thread of the shell command; the same code as workers/star.worker.ts behind Node's kind of port. */
expose(starThreadApi(), nodeEndpoint(parentPort!));
