import type { Remote } from 'comlink';
import type { Outcome } from '../../workers/protocol/faults.ts';
import type { ModelWorkerApi } from '../../workers/protocol/model.ts';
import { WorkerLife, type WorkerLike } from './worker-life.ts';

/** The only owner of the worker that draws a fitted field. It starts with the first question, and again after a crash. */
export class ModelClient {
  readonly #make: () => WorkerLike;
  #life: WorkerLife<ModelWorkerApi> | null = null;

  constructor(make: () => WorkerLike = startModelWorker) {
    this.#make = make;
  }

  ask<T>(work: (api: Remote<ModelWorkerApi>) => Promise<Outcome<T>>): Promise<Outcome<T>> {
    if (!this.#life || this.#life.ended) this.#life = new WorkerLife<ModelWorkerApi>(this.#make());
    return this.#life.call(work);
  }
}

const startModelWorker = (): Worker =>
  new Worker(new URL('../../workers/model.worker.ts', import.meta.url), { type: 'module', name: 'model' });
