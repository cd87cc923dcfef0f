import type { Estimate } from './report.ts';
import type { FocusRun } from './series.ts';

/** What is known of telescope and focuser besides what the frames say; everything may be left out. */
export interface FocusOptions {
  /** Signed: + = a larger position moves the sensor away from the optics. */
  focusUmPerStep?: number | null;
  focalRatio?: number | null;
  /** Linear central obstruction, 0 to 1. */
  obstruction?: number | null;
  pixelSizeUm?: number | null;
  /** Focus positions in place of those of the files, one per record; null = as the file says. */
  positions?: (number | null)[];
}

/** A place of the sensor and its own best focus. */
export interface FocusPlace {
  col: number;
  row: number;
  /** Median place of its stars, from the sensor's centre, px. */
  xPx: number;
  yPx: number;
  stars: number;
  /** Position at which the stars of this place are smallest. */
  bestPosition: Estimate;
  /** Measured sizes, one per frame that has stars here. */
  sizes: { position: number; hfdPx: Estimate }[];
}

/** Tilt as hands need it. */
export interface FocusTilt {
  /** µm per mm along +x and +y: positive where the sensor lies farther from the optics. */
  vector: { x: Estimate; y: Estimate };
  umPerMm: Estimate;
  arcmin: Estimate;
  /** Direction in which the sensor lies farther from the optics, degrees from +x towards +y. */
  directionDeg: Estimate;
  /** Difference of height over the sensor's whole width, height, and from the nearest to the farthest corner, µm. */
  acrossWidthUm: Estimate;
  acrossHeightUm: Estimate;
  acrossCornersUm: Estimate;
}

/** The two line foci that the stars' shapes turn between, by how far they lie apart. */
export interface FocusAstigmatism {
  /** The part that is the same everywhere, µm, and the axis that the stars take behind focus. */
  constantUm: Estimate;
  angleDeg: Estimate;
  /** The part that grows with the square of the distance from the middle: tangential minus sagittal focus at the corner. */
  cornerTangentialMinusSagittalUm: Estimate;
}

/** Half-flux diameters of the fitted run, px: mean of the four corners, and the centre. */
export interface FocusSizes {
  centreHfdPx: number;
  cornersHfdPx: number;
}

/** The whole answer about a focus run. */
export interface FocusRunResult {
  /** What the contract prints. */
  report: FocusRun;
  /** Frames with a focus position and stars; used: without those left out as not fitting. */
  frames: number;
  used: number;
  /** Records left out and why. */
  leftOut: { record: number; why: string }[];
  /** A position was sought outside the range that was photographed. */
  outside: boolean;
  /** The sign of steps was told; otherwise a larger position is taken to move the sensor away from the optics. */
  signTold: boolean;
  /** µm per step that the sizes of the stars call for by geometry, always positive; null without focal ratio and pixel. */
  umPerStepByGeometry: Estimate | null;
  /** Position with the smallest stars over the whole frame, as the mean of their squared sizes. */
  compromisePosition: Estimate;
  tilt: FocusTilt | null;
  astigmatism: FocusAstigmatism | null;
  places: FocusPlace[];
  /** The fitted curve of the centre for drawing. */
  curve: { position: number; hfdPx: number }[];
  /** Sizes at the compromise focus: as it is, with the tilt taken out, with tilt and curvature taken out. */
  sizes: { now: FocusSizes; square: FocusSizes; squareAndFlat: FocusSizes };
  /** One sentence: what to do. Then reasons and cautions, the weightiest first. */
  headline: string;
  notes: string[];
}
