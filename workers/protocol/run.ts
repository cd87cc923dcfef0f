import type { MeasureOptions } from './api.ts';
import type { Fault, Outcome } from './faults.ts';
import type { FocusOptions, FocusRunResult } from './focus-run.ts';
import type { Estimate, Verdict } from './report.ts';
import type { SeriesRecord, SeriesResult, TrackOptions } from './series.ts';
import type { StoppedFrame } from './stopped-drive.ts';
import type { TogetherFrame } from './together.ts';

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
  /** The trails of a frame beside the run that tracked for about five seconds and then stood; a fault says what is missing. */
  stoppedFrame(file: File, options: MeasureOptions): Promise<Outcome<StoppedFrame>>;
  /** What a fit of several frames together needs of one: its record and the stamps of its stars. */
  cut(file: File, options: MeasureOptions): Promise<Outcome<TogetherFrame>>;
}

/** One frame as a point of the run's timeline, in order of time. */
export interface RunPoint {
  key: string;
  /** Middle of the exposure, milliseconds since 1970. */
  timeMs: number;
  /** The frame tells its time, or only its file does. */
  timeFrom: 'frame' | 'file';
  exposureS: number | null;
  /** Why it has no shapes. */
  fault: string | null;
  fwhmPx: Estimate | null;
  hfdPx: Estimate | null;
  elongation: Estimate | null;
  angleDeg: number | null;
  stars: number;
  skyAdu: number | null;
  noiseAdu: number | null;
  /** Light of the stars that it shares with the run's richest frame, a second; 1 = the run's clearest tenth. */
  brightness: number | null;
  /** Half-flux diameter over FWHM: grows when light moves from the cores into a halo. */
  halo: number | null;
  /** Where the run's first star field has gone; null where the frame could not be laid on the others. */
  place: RunPlace | null;
  temperatureC: number | null;
  focusPosition: number | null;
  /** Of the target and of the Sun; null where site, place or time are not known. */
  altitudeDeg: number | null;
  sunAltitudeDeg: number | null;
  pierSide: 'east' | 'west' | null;
  /** Why its stars are not round, where the frame was asked. */
  verdict: Pick<Verdict, 'cause' | 'confidence' | 'headline'> | null;
}

export interface RunPlace {
  /** Of the first placed frame's centre, in that frame's axes whatever way up this one is. */
  xPx: number;
  yPx: number;
  /** Turned by more than a quarter against the first. */
  flipped: boolean;
  widthPx: number;
  heightPx: number;
}

export const MARK_KINDS = [
  'focus-temperature',
  'focus-creep',
  'mirror-cooling',
  'altitude',
  'dew',
  'haze',
  'cloud',
  'gust',
  'snag',
  'pier-side',
  'twilight',
  'sky-light',
  'leaving',
  'slow-drift',
] as const;
export type MarkKind = (typeof MARK_KINDS)[number];

/** Something that happened to a stretch of the run. */
export interface Mark {
  kind: MarkKind;
  /** First and last point. */
  from: number;
  to: number;
  /** What happened, the numbers that say so, and what helps; a sentence or two each. */
  says: string;
  because: string;
  doThis: string | null;
  /** Whether it goes on at the run's end. */
  lasting: boolean;
}

/** Up to where a frame is good; null = not asked for. */
export interface RunLimits {
  /** Width of the stars, px: FWHM where all frames have one, else the half-flux diameter. */
  sizePx: number | null;
  elongation: number | null;
  /** Part of the run's clearest tenth. */
  brightness: number | null;
  /** Part of the stars of the run's richest tenth. */
  stars: number | null;
  /** Noise of the sky over that of the run's quietest tenth. */
  noise: number | null;
}
export type LimitName = keyof RunLimits;

/** What is known besides the frames. */
export interface JudgeOptions {
  latitudeDeg: number | null;
  longitudeDeg: number | null;
  /** Limits that the person set; the others follow from the run. */
  limits: Partial<RunLimits>;
  /** What the person said of frames, by key: wins over every limit. */
  words: Record<string, 'keep' | 'drop'>;
  /** Focus positions that the person typed, by key: they win over the files. */
  positions: Record<string, number>;
}

export interface RunJudgement {
  points: RunPoint[];
  /** Which size the timeline and the limits mean. */
  size: 'fwhmPx' | 'hfdPx';
  marks: Mark[];
  limits: RunLimits;
  /** What follows from the run, for whoever takes a limit back. */
  ownLimits: RunLimits;
  /** Per point: why it is better left out of the stack; empty = good. */
  reasons: string[][];
  /** Per point: whether it stays, by the limits and by what the person said. */
  kept: boolean[];
  headline: string;
  next: string | null;
}

/** An answer about the run's records; `keys` names the frame of each record that it counts. */
export interface OfRecords<T> {
  keys: string[];
  result: T;
}
export type RunTracking = OfRecords<SeriesResult>;
export type RunFocus = OfRecords<FocusRunResult>;

/** What the worker of a run offers. It holds what it is given until it is told to forget. */
export interface RunWorkerApi {
  put(frames: [key: string, frame: RunFrame][]): Promise<void>;
  forget(): Promise<void>;
  judge(options: JudgeOptions): Promise<Outcome<RunJudgement>>;
  track(options: TrackOptions): Promise<Outcome<RunTracking>>;
  /**
   * Null when the frames are no focus run; a fault when they are one that cannot be answered. `positions`: what the person
   * says of frames, by key; it wins over the file.
   */
  focus(options: FocusOptions, positions: Record<string, number>): Promise<Outcome<RunFocus | null>>;
}
