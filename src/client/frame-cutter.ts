import type { MeasureOptions } from '../../workers/protocol/api.ts';
import type { Fault, Outcome } from '../../workers/protocol/faults.ts';
import type { RunFrameWorkerApi } from '../../workers/protocol/run.ts';
import type { TogetherFrame } from '../../workers/protocol/together.ts';
import { WorkerLife, type WorkerLike } from './worker-life.ts';

const STOPPED: Fault = { code: 'cancelled', message: 'The frames were put away.' };

/**
 * Cuts the stars out of frames, one frame after the other in a worker of its own, so that the frame on the page stays
 * where it is. Only stamps come back; the worker ends when it is told that there are no more frames.
 */
export class FrameCutter {
  readonly #make: () => WorkerLike;
  #life: WorkerLife<RunFrameWorkerApi> | null = null;

  constructor(make: () => WorkerLike = startWorker) {
    this.#make = make;
  }

  cut(file: File, options: MeasureOptions): Promise<Outcome<TogetherFrame>> {
    if (!this.#life || this.#life.ended) this.#life = new WorkerLife<RunFrameWorkerApi>(this.#make());
    return this.#life.call((api) => api.cut(file, options));
  }

  /** Ends the worker; what it was at answers that it was stopped. */
  end(): void {
    this.#life?.end(STOPPED);
    this.#life = null;
  }
}

const startWorker = (): Worker =>
  new Worker(new URL('../../workers/run-frame.worker.ts', import.meta.url), {
    type: 'module',
    name: 'run-frame',
  });
