import type { Estimate } from '../protocol/report.ts';
import { arcsecPerPx } from '../protocol/rig.ts';
import type { Effort } from './levenberg.ts';
import type { Optics } from './optics.ts';
import type { Group, PathKind } from './parameters.ts';

/** Another explanation of the same stars and what it costs more. */
export interface Rival {
  groups: Group[];
  path: PathKind;
  /** Parameters in the order of FIELD_PARAMETERS. */
  theta: number[];
  /** Cost above the chosen model, each parameter priced, divided by the misfit. At least this when `atLeast`. */
  gap: number;
  atLeast: boolean;
}

/** Everything the fit of one frame found. Plain data: it crosses threads and may be stored. */
export interface FieldFit {
  optics: Optics;
  /** What nobody gave and was assumed or estimated; then micrometres mean nothing and are not printed. */
  known: { focalRatio: boolean; pixelSize: boolean; obstruction: 'given' | 'fitted' | 'assumed' };
  focalLengthMm: number | null;
  widthPx: number;
  heightPx: number;
  /** Groups that the frame needs, and how its stars moved. */
  groups: Group[];
  path: PathKind;
  theta: number[];
  /** Whether the common sign of the even terms is known; else it is printed by convention. */
  focusSignKnown: boolean;
  /** Row-major, inflated; zero where a parameter was not free. */
  covariance: number[];
  /** Standard errors of parameters that were dropped as insignificant: how large they may be unseen. */
  droppedSigma: number[];
  chi2PerDof: number;
  /** Stars that the final model rests on, and those rejected as no clean stars. */
  stars: number;
  rejected: number;
  /** Residuals that stars of one region share, over the model's own size: what physics is missing. */
  coherence: number;
  /** The same with its round part: how far the stated errors go beyond noise. */
  commonMisfit: number;
  dispersionPx: { x: Estimate; y: Estimate } | null;
  rivals: Rival[];
  /** Mean width in the corners: as fitted, and without each group of causes. */
  cornerFwhmPx: number;
  centreFwhmPx: number;
  cornerFwhmWithoutPx: Record<string, number>;
  effort: Effort;
  warnings: string[];
}

/** Null when a length is unknown. */
export const arcsecPerPixel = ({ focalLengthMm, known, optics }: FieldFit): number | null =>
  arcsecPerPx({ focalLengthMm, pixelSizeUm: known.pixelSize ? optics.pixelUm : null });
