import type { Outcome } from './faults.ts';
import type { FrameMeta } from './frame.ts';
import type { FittedField, RoundCircle } from './model.ts';
import type { Cause, Estimate, FrameReport, Region, VectorEstimate, Verdict } from './report.ts';
import type { PictureChoice, Reading, Told } from './reading.ts';
import type { StampSet } from './stamps.ts';
import type { Rig } from './rig.ts';
import type { StarTable } from './stars.ts';
import type { TogetherFrame, TogetherReport } from './together.ts';

export type Stage = 'reading' | 'background' | 'detecting' | 'measuring' | 'mapping';
/** done of total, in units of the stage (bytes, rows, stars). */
export interface Progress {
  stage: Stage;
  done: number;
  total: number;
}

export interface MeasureOptions {
  /** Overrides of what the header says. */
  rig: Partial<Rig>;
  /** What was told of files of each kind; wins over the file. */
  told?: Told;
  /** Which picture of the file; its first when left out. */
  choice?: PictureChoice;
  /** Leaves out what only the page of one frame shows: the fine map, mean stars, red and blue. */
  numbersAlone?: boolean;
}

/** How the frame may be shown: its pyramid of tiles and a stretch that suits it. */
export interface FrameView {
  tilePx: number;
  /** Level 0 is the frame itself; each further level halves it. */
  levels: { widthPx: number; heightPx: number }[];
  channels: 1 | 3;
  /** ADU for black, for the sky, one sigma of the sky's noise, and the brightest sensible white. */
  blackAdu: number;
  skyAdu: number;
  noiseAdu: number;
  whiteAdu: number;
}

/** A tile of one level; values run from `lowAdu` (0) to `highAdu` (65535), channels interleaved. */
export interface Tile {
  level: number;
  col: number;
  row: number;
  widthPx: number;
  heightPx: number;
  channels: 1 | 3;
  values: Uint16Array;
  lowAdu: number;
  highAdu: number;
}

/** The average star of one cell of the sensor, super-sampled, peak 1, background 0. */
export interface MeanStar {
  col: number;
  row: number;
  cols: number;
  rows: number;
  stars: number;
  /** Samples a side (odd; the centroid is the middle one) and samples per pixel. */
  side: number;
  samplesPerPx: number;
  values: Float32Array;
  /** Positions of the stars that were averaged, x and y in turn. */
  placesPx: Float32Array;
}

/** One colour of a mosaic or a colour picture, measured on its own pixels. */
export interface ColourChannel {
  stars: number;
  fwhmPx: Estimate | null;
  hfdPx: Estimate | null;
}

/** What differs between the colours: focus, and where they fall. */
export interface ColourSummary {
  red: ColourChannel;
  green: ColourChannel;
  blue: ColourChannel;
  /** Red minus blue position: the mean vector (the air's dispersion, a tilted wedge) ... */
  redMinusBluePx: VectorEstimate;
  /** ... and its growth away from the sensor's centre in px per px of radius (lateral colour of a lens). */
  lateralPerPx: Estimate | null;
}

export interface Measured {
  /** Names the frame that the worker still holds. */
  handle: number;
  report: FrameReport;
  /** What the file says of the exposure. */
  meta: FrameMeta;
  stars: StarTable;
  /** A finer grid than the report's nine cells, fit for the number of stars; empty cells have null values. Empty itself, as the mean stars, where numbers alone were asked for. */
  fineRegions: Region[];
  meanStars: MeanStar[];
  view: FrameView;
  reading: Reading;
  /** Milliseconds of each stage, for the curious. */
  timingMs: Partial<Record<Stage, number>>;
}

/** The pixels around one star as stored, in ADU, for a closer look. */
export interface StarCutout {
  originXPx: number;
  originYPx: number;
  sidePx: number;
  valuesAdu: Float32Array;
}

/** What the frame worker offers. Only the newest frame is held: an older handle answers with a fault. */
export interface FrameWorkerApi {
  /** Compiles the kernels and runs them once over a small synthetic frame, so that the first real one is fast. */
  warmUp(): Promise<void>;
  measure(
    file: File,
    options: MeasureOptions,
    onProgress: (progress: Progress) => void,
  ): Promise<Outcome<Measured>>;
  tile(handle: number, level: number, col: number, row: number): Promise<Outcome<Tile>>;
  /** Cut-outs of up to `most` stars for the field fit. */
  stamps(handle: number, most: number): Promise<Outcome<StampSet>>;
  /** The cut-out of one star of the table. */
  stamp(handle: number, star: number): Promise<Outcome<StampSet>>;
  cutout(handle: number, xPx: number, yPx: number, sidePx: number): Promise<Outcome<StarCutout>>;
  /** The table's stars measured once more, on the pixels of each colour; null for a monochrome frame. */
  colours(handle: number): Promise<Outcome<ColourSummary | null>>;
}

/** What a worker says first: the name of the lock that it holds until it ends. */
export interface Living {
  living: string;
}

/** How many stars the field fit is given to choose from. */
export const FIT_STAMPS = 90;

/** The parts of the report that the field fit fills in, and the fit itself for whoever asks the model more. */
export interface Physics extends Pick<FrameReport, 'model' | 'budget' | 'causes' | 'verdict' | 'warnings'> {
  field: FittedField;
  advice: Advice[];
  /** Where coma that grows with the field does not show; null without such coma. */
  round: RoundCircle | null;
}

/** What could be done about one cause, whether or not it leads. */
export interface Advice {
  cause: Cause;
  next: Verdict['next'];
  /** Frames that tell it from other explanations, as sentences. */
  deciders: string[];
  /** The nearest explanation of the stars without it that was fitted; null where none was. */
  instead: OtherStory | null;
}

/** Another explanation of the same stars: what it leans on, and how much worse it is (chi squared over the misfit). */
export interface OtherStory {
  cause: Cause;
  gap: number;
  /** The true gap is at least this. */
  atLeast: boolean;
}

export interface FitProgress {
  /** 0 to 1. */
  done: number;
  doing: 'searching' | 'simplifying' | 'finishing';
}

/** What the fit worker offers: the coordinator of a field fit. End the worker to cancel; the frame is not touched. */
export interface FitWorkerApi {
  fit(
    stamps: StampSet,
    report: FrameReport,
    rig: Rig,
    onProgress: (progress: FitProgress) => void,
  ): Promise<Outcome<Physics>>;
  /** Several frames of one field; the first is the one that is asked about. */
  together(
    frames: TogetherFrame[],
    rig: Rig,
    onProgress: (progress: FitProgress) => void,
  ): Promise<Outcome<TogetherReport>>;
}
