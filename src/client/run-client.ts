import type { Remote } from 'comlink';
import type { Outcome } from '../../workers/protocol/faults.ts';
import type { RunFrame, RunWorkerApi } from '../../workers/protocol/run.ts';
import { WorkerLife, type WorkerLike } from './worker-life.ts';

/**
 * The only owner of the worker that holds the records of a run and answers questions about it. After a crash a new one
 * is given all of them again by `recall`.
 */
export class RunClient {
  readonly #make: () => WorkerLike;
  readonly #recall: () => [key: string, frame: RunFrame][];
  #life: WorkerLife<RunWorkerApi> | null = null;
  #waiting: [key: string, frame: RunFrame][] = [];

  constructor(recall: () => [key: string, frame: RunFrame][], make: () => WorkerLike = startRunWorker) {
    this.#recall = recall;
    this.#make = make;
  }

  /** Frames travel with the next question. */
  put(key: string, frame: RunFrame): void {
    this.#waiting.push([key, frame]);
  }

  /** Ends the worker with all that it holds. */
  forget(): void {
    this.#life?.end({ code: 'cancelled', message: 'The run was put away.' });
    this.#life = null;
    this.#waiting = [];
  }

  async ask<T>(work: (api: Remote<RunWorkerApi>) => Promise<Outcome<T>>): Promise<Outcome<T>> {
    if (!this.#life || this.#life.ended) {
      this.#life = new WorkerLife<RunWorkerApi>(this.#make());
      this.#waiting = this.#recall();
    }
    const frames = this.#waiting.splice(0);
    return this.#life.call(async (api) => {
      if (frames.length > 0) await api.put(frames);
      return work(api);
    });
  }
}

const startRunWorker = (): Worker =>
  new Worker(new URL('../../workers/run.worker.ts', import.meta.url), { type: 'module', name: 'run' });
