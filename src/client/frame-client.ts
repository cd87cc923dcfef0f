import { proxy, type Remote } from 'comlink';
import type {
  ColourSummary,
  FrameWorkerApi,
  Measured,
  MeasureOptions,
  Progress,
  StarCutout,
  Tile,
} from '../../workers/protocol/api.ts';
import { failure, success, type Fault, type Outcome } from '../../workers/protocol/faults.ts';
import type { StampSet } from '../../workers/protocol/stamps.ts';
import { WorkerLife, type WorkerLike } from './worker-life.ts';

/**
 * Names a frame that some worker holds. Handles start again in every worker, so the worker's generation belongs to
 * the name: otherwise the first frame of a new worker would answer for the first frame of a dead one.
 */
export interface FrameRef {
  generation: number;
  handle: number;
}

export interface MeasuredFrame {
  frame: FrameRef;
  measured: Measured;
}

export const CANCELLED: Fault = { code: 'cancelled', message: 'The analysis was cancelled.' };
export const SUPERSEDED: Fault = { code: 'cancelled', message: 'A newer frame took the place of this one.' };

type Life = WorkerLife<FrameWorkerApi>;

/**
 * The only owner of the frame worker. A kernel at work hears no message, so cancelling means to end the worker and
 * start another; the same happens when a frame is opened while one is being measured, and after a crash.
 */
export class FrameClient {
  readonly #make: () => WorkerLike;
  #life: Life | null = null;
  #generation = 0;
  #runs = 0;
  /** Number of the run under way; 0 when none is. */
  #measuring = 0;

  constructor(make: () => WorkerLike = startFrameWorker) {
    this.#make = make;
  }

  /** Starts the worker and lets it compile and touch its memory before the first frame comes. */
  async warmUp(): Promise<Outcome<void>> {
    return this.#living().call(async (api) => success(await api.warmUp()));
  }

  /**
   * Measures one frame. A measurement under way is given up (it answers with SUPERSEDED). When `signal` fires the
   * worker is ended and the answer is CANCELLED. `onProgress` is not called after the answer.
   */
  async measure(
    file: File,
    options: MeasureOptions,
    onProgress: (progress: Progress) => void,
    signal?: AbortSignal,
  ): Promise<Outcome<MeasuredFrame>> {
    if (signal?.aborted) return { ok: false, fault: CANCELLED };
    if (this.#measuring) this.#end(SUPERSEDED);
    const life = this.#living();
    const generation = this.#generation;
    const run = (this.#measuring = ++this.#runs);
    const cancel = () => this.#endThis(life, CANCELLED);
    signal?.addEventListener('abort', cancel, { once: true });
    const heed = (progress: Progress) => {
      if (this.#measuring === run && !life.ended) onProgress(progress);
    };
    const outcome = await life.call((api) => api.measure(file, options, proxy(heed)));
    signal?.removeEventListener('abort', cancel);
    if (this.#measuring === run) this.#measuring = 0;
    if (!outcome.ok) return outcome;
    const measured = outcome.value;
    return success({ frame: { generation, handle: measured.handle }, measured });
  }

  /** A tile of a frame's pyramid; a fault when the worker no longer holds that frame. */
  tile(frame: FrameRef, level: number, col: number, row: number): Promise<Outcome<Tile>> {
    return this.#ask(frame, (api) => api.tile(frame.handle, level, col, row));
  }

  /** Cut-outs of up to `most` stars for the field fit. */
  stamps(frame: FrameRef, most: number): Promise<Outcome<StampSet>> {
    return this.#ask(frame, (api) => api.stamps(frame.handle, most));
  }

  /** The cut-out of one star of the table. */
  stamp(frame: FrameRef, star: number): Promise<Outcome<StampSet>> {
    return this.#ask(frame, (api) => api.stamp(frame.handle, star));
  }

  cutout(frame: FrameRef, xPx: number, yPx: number, sidePx: number): Promise<Outcome<StarCutout>> {
    return this.#ask(frame, (api) => api.cutout(frame.handle, xPx, yPx, sidePx));
  }

  /** The frame's stars in each of its colours; null for a monochrome frame. */
  colours(frame: FrameRef): Promise<Outcome<ColourSummary | null>> {
    return this.#ask(frame, (api) => api.colours(frame.handle));
  }

  async #ask<T>(
    frame: FrameRef,
    work: (api: Remote<FrameWorkerApi>) => Promise<Outcome<T>>,
  ): Promise<Outcome<T>> {
    if (!this.#life || this.#life.ended || frame.generation !== this.#generation)
      return failure('cancelled', 'The pixels of this frame are no longer held: open it again to see them.');
    return this.#life.call(work);
  }

  #living(): Life {
    if (!this.#life || this.#life.ended) {
      this.#life = new WorkerLife<FrameWorkerApi>(this.#make());
      this.#generation++;
    }
    return this.#life;
  }

  #end(why: Fault): void {
    if (this.#life) this.#endThis(this.#life, why);
  }

  #endThis(life: Life, why: Fault): void {
    life.end(why);
    if (this.#life === life) this.#life = null;
  }
}

const startFrameWorker = (): Worker =>
  new Worker(new URL('../../workers/frame.worker.ts', import.meta.url), {
    type: 'module',
    name: 'frame',
  });
