import type { Physics } from './api.ts';
import type { FittedField } from './model.ts';
import type { BudgetEntry, CauseEntry, FieldModel, Verdict } from './report.ts';
import type { SeriesRecord } from './series.ts';
import type { StampSet } from './stamps.ts';

/** Several frames of one field, explained together: optics repeat from frame to frame, air and mount do not. */
export const LEAST_TOGETHER = 2;
/** More frames tell little more, and take their time. */
export const MOST_TOGETHER = 6;

/** What is needed of one frame: no pixels but those around some stars. */
export interface TogetherFrame {
  record: SeriesRecord;
  /** Null where the frame's stars could not be cut out; it is then left out. */
  stamps: StampSet | null;
  /** Its own fit where it was made before; else it is fitted alone first. */
  field: FittedField | null;
}

/** One frame of several. */
export interface FrameOfSeveral {
  file: string;
  stars: number;
  /** Why it is not among those that were fitted together, a sentence; null = it is. */
  leftOut: string | null;
  /** What the frame said by itself. */
  alone: Verdict | null;
  /** What it says with the others: the optics of all, its own air and movement. */
  together: Pick<Physics, 'model' | 'budget' | 'causes' | 'verdict'> | null;
}

/** What several frames say together; plain data that the page keeps and the shell prints. */
export interface TogetherReport {
  format: 1;
  frames: FrameOfSeveral[];
  used: number;
  /** What all frames share, with its errors: focus, tilt, curvature, coma, astigmatism and so on. */
  optics: Pick<
    FieldModel,
    | 'focusUm'
    | 'tiltUmPerMm'
    | 'curvaturePerM'
    | 'focusSignKnown'
    | 'coma'
    | 'astigmatismUm'
    | 'astigmatismField'
    | 'trefoilUm'
    | 'sphericalUm'
  >;
  /** Mean over the frames. */
  budget: BudgetEntry[];
  /** Mean over the frames, largest share of the corners first. */
  causes: CauseEntry[];
  /** Of most frames; where they are at odds, of the one that was asked about. */
  verdict: Verdict;
  /** What the first frame said by itself. */
  before: Verdict;
  /** What repeats, what does not, which frames differ, what was left out and why. */
  notes: string[];
}
