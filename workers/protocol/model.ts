import type { Outcome } from './faults.ts';
import type { BudgetPart, Estimate } from './report.ts';
import type { StampSet } from './stamps.ts';

/** A fitted field in the fit's own terms. The page keeps it and hands it back; what is inside concerns the fit alone. */
export interface FittedField {
  readonly theta: readonly number[];
  readonly covariance: readonly number[];
}

/** Around the place where coma vanishes: the circle inside which it is not worth naming. */
export interface RoundCircle {
  /** From the sensor's centre. */
  centrePx: { x: number; y: number };
  radiusPx: number;
  /** Null where the scale is unknown. */
  radiusArcmin: number | null;
  /** Whether the whole sensor lies inside. */
  coversAll: boolean;
}

/** A place on the sensor, full-frame pixels. */
export interface Place {
  xPx: number;
  yPx: number;
}

/** Parts of the blur that a model can be drawn without. Diffraction and pixel stay; colours are not in the model. */
export const REMOVABLE_PARTS = [
  'roundBlur',
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
] as const satisfies readonly BudgetPart[];
export type RemovablePart = (typeof REMOVABLE_PARTS)[number];

export interface PictureRequest {
  /** One picture for each entry: the mean of the model's stars at its places, laid over each other by their centres. */
  places: Place[][];
  without: RemovablePart[];
  /** Samples a side, odd. */
  side: number;
}

/** Samples per pixel of the pictures of mean stars, measured and modelled alike. */
export const PICTURE_SAMPLES_PER_PX = 3;

/** Noise-free, as a measured mean star is: through the pixel, softened by the averaging, peak 1, centre in the middle. */
export interface ModelPicture {
  side: number;
  samplesPerPx: number;
  values: Float32Array;
  /** Mean width and half-flux diameter of the stars that are in it (not of the softened picture). */
  fwhmPx: number;
  hfdPx: number;
}

/** Widths that would remain, as `fwhmPx` is defined: at the centre, mean of the four corners, mean over the sensor. */
export interface RemainingWidths {
  centrePx: Estimate;
  cornersPx: Estimate;
  meanPx: Estimate;
}

/** What the model says of one place. */
export interface ModelPlace extends Place {
  /** Longitudinal distance of the sensor from focus (sign as in the report); null where no µm are known. */
  defocusUm: Estimate | null;
  /** Movement of the image during the exposure, end to end of the path. */
  motionXPx: number;
  motionYPx: number;
  /** Coma's vector along its tail: the spot reaches 3 times as far. Astigmatism as radius of its cross. Pixels. */
  comaXPx: number;
  comaYPx: number;
  astigmatism0Px: number;
  astigmatism45Px: number;
}

/** The model's star at the centre of one cell of a grid, measured like a real one: the terms of the star table. */
export interface ModelShape extends Place {
  col: number;
  row: number;
  /** NaN for a ring. */
  fwhmPx: number;
  hfdPx: number;
  e1: number;
  e2: number;
  cometX: number;
  cometY: number;
}

/** What the model leaves in common to the stars of one of 3 x 3 cells. */
export interface Leftover {
  col: number;
  row: number;
  stars: number;
  /** Rms of the shared residual that is not round over the model's rms, noise taken off; null: too few stars. */
  coherence: number | null;
  sidePx: number;
  /** Median residual over the peak of the mean model, row by row. */
  rest: Float32Array;
}

/** One star under the field's model, its flux, background and position fitted. Electrons above the sky; row by row. */
export interface StarUnderModel {
  sidePx: number;
  originXPx: number;
  originYPx: number;
  electrons: Float32Array;
  /** Star and background. */
  model: Float32Array;
  /** (electrons - model) over the standard deviation; NaN where a pixel was not used. */
  pulls: Float32Array;
  /** Position of the chief ray. */
  xPx: number;
  yPx: number;
  flux: Estimate;
  background: Estimate;
  /** Standard deviation of sky and read noise in one pixel, electrons. */
  skySigma: number;
  /** Chi squared per degree of freedom: 1 = by noise alone. */
  chi2PerDof: number;
  pixels: number;
}

/** What the model worker offers: pictures and numbers of a fitted field. Nothing is kept between calls. */
export interface ModelWorkerApi {
  pictures(field: FittedField, request: PictureRequest): Promise<Outcome<ModelPicture[]>>;
  widths(field: FittedField, without: RemovablePart[]): Promise<Outcome<RemainingWidths>>;
  /** `only`: as if one part were all there is. */
  places(field: FittedField, places: Place[], only: RemovablePart | null): Promise<Outcome<ModelPlace[]>>;
  shapes(field: FittedField, cols: number, rows: number): Promise<Outcome<ModelShape[]>>;
  /** `stamps`: those that the field was fitted to. */
  leftovers(field: FittedField, stamps: StampSet): Promise<Outcome<Leftover[]>>;
  /** `stamp`: a set of one. */
  star(field: FittedField, stamp: StampSet): Promise<Outcome<StarUnderModel>>;
}
