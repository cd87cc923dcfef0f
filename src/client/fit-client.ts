import { proxy, type Remote } from 'comlink';
import type { FitProgress, FitWorkerApi, Physics } from '../../workers/protocol/api.ts';
import type { Fault, Outcome } from '../../workers/protocol/faults.ts';
import type { FrameReport } from '../../workers/protocol/report.ts';
import type { Rig } from '../../workers/protocol/rig.ts';
import type { StampSet } from '../../workers/protocol/stamps.ts';
import type { TogetherFrame, TogetherReport } from '../../workers/protocol/together.ts';
import { WorkerLife, type WorkerLike } from './worker-life.ts';

const STOPPED: Fault = { code: 'cancelled', message: 'The explanation was stopped.' };

/**
 * The only owner of the fit worker. A worker lives for one fit: its helpers end with it, so stopping leaves nothing
 * behind, and the frame's own worker is never touched.
 */
export class FitClient {
  readonly #make: () => WorkerLike;
  #life: WorkerLife<FitWorkerApi> | null = null;

  constructor(make: () => WorkerLike = startFitWorker) {
    this.#make = make;
  }

  /** Fits one field; a fit under way is stopped first. `onProgress` is not called after the answer. */
  async fit(
    stamps: StampSet,
    report: FrameReport,
    rig: Rig,
    onProgress: (progress: FitProgress) => void,
  ): Promise<Outcome<Physics>> {
    return this.#ask((api, heed) => api.fit(stamps, report, rig, heed), onProgress);
  }

  /** Explains several frames of one field together; the first is the one that is asked about. */
  async together(
    frames: TogetherFrame[],
    rig: Rig,
    onProgress: (progress: FitProgress) => void,
  ): Promise<Outcome<TogetherReport>> {
    return this.#ask((api, heed) => api.together(frames, rig, heed), onProgress);
  }

  async #ask<T>(
    work: (api: Remote<FitWorkerApi>, heed: (progress: FitProgress) => void) => Promise<Outcome<T>>,
    onProgress: (progress: FitProgress) => void,
  ): Promise<Outcome<T>> {
    this.stop();
    const life = (this.#life = new WorkerLife<FitWorkerApi>(this.#make()));
    const heed = (progress: FitProgress) => {
      if (!life.ended) onProgress(progress);
    };
    const outcome = await life.call((api) => work(api, proxy(heed)));
    life.end(STOPPED);
    return outcome;
  }

  stop(): void {
    this.#life?.end(STOPPED);
    this.#life = null;
  }
}

const startFitWorker = (): Worker =>
  new Worker(new URL('../../workers/fit.worker.ts', import.meta.url), { type: 'module', name: 'fit' });
