import type { MeasureOptions } from '../../workers/protocol/api.ts';
import type { Fault, Outcome } from '../../workers/protocol/faults.ts';
import type { RunFrameWorkerApi } from '../../workers/protocol/run.ts';
import type { StoppedFrame } from '../../workers/protocol/stopped-drive.ts';
import type { TogetherFrame } from '../../workers/protocol/together.ts';
import { WorkerLife, type WorkerLike } from './worker-life.ts';

const STOPPED: Fault = { code: 'cancelled', message: 'The frames were put away.' };

/**
 * Takes out of frames what other questions need of them, one frame after the other in a worker of its own, so that the
 * frame on the page stays where it is. Stamps or trails come back, no pixels of a frame; the worker ends when it is told
 * that there are no more frames.
 */
export class FrameCutter {
  readonly #make: () => WorkerLike;
  #life: WorkerLife<RunFrameWorkerApi> | null = null;

  constructor(make: () => WorkerLike = startWorker) {
    this.#make = make;
  }

  cut(file: File, options: MeasureOptions): Promise<Outcome<TogetherFrame>> {
    return this.#worker().call((api) => api.cut(file, options));
  }

  /** Trails of a frame that tracked and then stood. */
  stopped(file: File, options: MeasureOptions): Promise<Outcome<StoppedFrame>> {
    return this.#worker().call((api) => api.stoppedFrame(file, options));
  }

  #worker(): WorkerLife<RunFrameWorkerApi> {
    if (!this.#life || this.#life.ended) this.#life = new WorkerLife<RunFrameWorkerApi>(this.#make());
    return this.#life;
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
