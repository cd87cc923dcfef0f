import type { MeasureOptions } from './api.ts';
import type { Fault, Outcome } from './faults.ts';
import type { SeriesRecord } from './series.ts';

/** What the page keeps of one file of a run: at most 100 kB, no pixels. May be posted and stored. */
export interface RunFrame {
  format: 1;
  name: string;
  sizeBytes: number;
  /** When the file was last written, milliseconds since 1970; its time where the frame tells none. */
  changedMs: number;
  /** Null when the file could not be measured: then `fault` says why. */
  record: SeriesRecord | null;
  fault: Fault | null;
  sky: RunSky | null;
}

/** Sky of a frame, in the file's numbers. */
export interface RunSky {
  levelAdu: number;
  noiseAdu: number;
}

export interface RunFrameOptions extends MeasureOptions {
  /** Whether the field is fitted as well: why the stars are not round, at some seconds a frame. */
  fit: boolean;
}

/** What a worker of the pool offers: one frame at a time, and nothing is held for later questions. */
export interface RunFrameWorkerApi {
  measure(file: File, options: RunFrameOptions): Promise<Outcome<RunFrame>>;
}
