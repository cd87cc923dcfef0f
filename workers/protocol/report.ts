import type { Fault } from './faults.ts';

/**
 * The one object that page, shell, series and export read: what was found out about one frame.
 * Positions are full-frame pixels (pixel centres are integers, 0-based, x right, y along the stored rows),
 * angles degrees from +x towards +y. The meaning of every field is in DEVELOPERS.md, "The report".
 */
export interface FrameReport {
  format: 1;
  file: string;
  fault: Fault | null;
  /** Sentences for a person; the analysis went on all the same. */
  warnings: string[];
  frame: FrameFacts | null;
  stars: StarCounts;
  /** Only when asked for. */
  list?: ListedStar[];
  sensor: ShapeSummary;
  /** The nine cells of the sensor, row by row. */
  regions: Region[];
  model: FieldModel | null;
  budget: BudgetEntry[] | null;
  causes: CauseEntry[] | null;
  verdict: Verdict | null;
}

/** A value with the standard error of that value (never the star-to-star scatter). */
export interface Estimate {
  value: number;
  sigma: number;
}

export interface FrameFacts {
  widthPx: number;
  heightPx: number;
  /** Pattern of the colour filters at stored (0, 0), e.g. RGGB; null for a monochrome sensor. */
  mosaic: string | null;
  exposureS: number | null;
  pixelSizeUm: number | null;
  focalLengthMm: number | null;
  apertureMm: number | null;
  /** Linear central obstruction, 0 to 1. */
  obstruction: number | null;
  arcsecPerPx: number | null;
}

export interface StarCounts {
  detected: number;
  measured: number;
  saturated: number;
}

export interface ListedStar {
  xPx: number;
  yPx: number;
  fluxAdu: number;
  snr: number;
  fwhmPx: number | null;
  hfdPx: number | null;
  elongation: number | null;
  angleDeg: number | null;
  flags: string[];
}

export interface ShapeSummary {
  fwhmPx: Estimate | null;
  hfdPx: Estimate | null;
  elongation: Estimate | null;
  /** Axis in [-90, 90). */
  angleDeg: Estimate | null;
}

/** One cell of a grid over the sensor; col counts along +x, row along +y. */
export interface Region extends ShapeSummary {
  col: number;
  row: number;
  cols: number;
  rows: number;
  stars: number;
}

export interface VectorEstimate {
  x: Estimate | null;
  y: Estimate | null;
}

export interface AxisPair {
  cos: Estimate | null;
  sin: Estimate | null;
}

/** The fitted physics of the whole field. */
export interface FieldModel {
  chi2PerDof: number;
  stars: number;
  roundBlurFwhmPx: Estimate | null;
  focusUm: Estimate | null;
  tiltUmPerMm: VectorEstimate;
  curvaturePerM: Estimate | null;
  focusSignKnown: boolean;
  coma: { strength: Estimate | null; constantUm: VectorEstimate; centreMm: VectorEstimate | null };
  astigmatismUm: AxisPair;
  astigmatismField: Estimate | null;
  trefoilUm: AxisPair;
  sphericalUm: Estimate | null;
  motion: {
    path: 'none' | 'straight' | 'jump' | 'swing';
    lengthPx: Estimate | null;
    angleDeg: Estimate | null;
    minorityFraction: number | null;
  };
  rotation: { angleDeg: Estimate | null; centreMm: VectorEstimate | null };
  dispersionPx: VectorEstimate;
}

export const BUDGET_PARTS = [
  'roundBlur',
  'diffraction',
  'pixel',
  'focus',
  'tilt',
  'curvature',
  'coma',
  'collimation',
  'astigmatism',
  'pinching',
  'spherical',
  'trailing',
  'rotation',
  'dispersion',
  'cross',
  'total',
] as const;
export type BudgetPart = (typeof BUDGET_PARTS)[number];
export type BudgetPlace = 'centre' | 'corners' | 'c0r0' | 'c1r0' | 'c0r1' | 'c1r1';

export interface BudgetEntry {
  where: BudgetPlace;
  /** Per-axis variance: half the trace of the second-moment tensor. */
  variancePx2: Record<BudgetPart, number>;
}

export type Cause =
  | 'coma'
  | 'collimation'
  | 'tilt'
  | 'curvature'
  | 'astigmatism'
  | 'pinching'
  | 'spherical'
  | 'focus'
  | 'trailing'
  | 'rotation'
  | 'seeing'
  | 'dispersion'
  | 'clean';
export type Family = 'optics' | 'focus' | 'tracking' | 'sky' | 'none';

export interface CauseEntry {
  cause: Cause;
  family: Family;
  cornerShare: Estimate;
  significance: number;
  cornerFwhmWithoutPx: number;
}

export type Experiment =
  | 'refocus-step'
  | 'rotate-camera'
  | 'halve-exposure'
  | 'next-frame'
  | 'half-aperture'
  | 'screw-turn'
  | 'other-pier-side'
  | 'change-filter'
  | 'more-frames';

export interface Verdict {
  family: Family;
  cause: Cause;
  confidence: number;
  headline: string;
  next: {
    do: string;
    when: 'now' | 'daylight' | 'not-possible';
    needs: string | null;
    cornerFwhmLeftPx: number | null;
  }[];
  decider: { experiment: Experiment; do: string; between: Cause[] } | null;
}
