import type { FrameMeta } from './frame.ts';
import type { FrameReport } from './report.ts';

/**
 * A run: several frames of one field, one after the other. Per frame only a small record is kept (at most 100 kB, no
 * pixels), made by `recordOf` of workers/series. Plain data that may be posted, stored and written as JSON (columns as
 * arrays).
 */

/** Most stars that a record keeps. */
export const SERIES_STARS = 300;

/** The best stars of one frame as columns of length `count`, brightest first; meanings as in StarTable. */
export interface RecordStars {
  count: number;
  xPx: Float64Array;
  yPx: Float64Array;
  positionSigmaPx: Float32Array;
  fluxAdu: Float32Array;
  snr: Float32Array;
  fwhmPx: Float32Array;
  hfdPx: Float32Array;
  hfdSigmaPx: Float32Array;
  e1: Float32Array;
  e2: Float32Array;
  eSigma: Float32Array;
  rmsPx: Float32Array;
  flags: Uint32Array;
}

/** What a run keeps of one frame: `recordOf(report, stars, meta)`. */
export interface SeriesRecord {
  format: 1;
  /** Without the star list. */
  report: FrameReport;
  /** Start of the exposure, exposure, focus position, temperature, pointing: what the file says. */
  meta: FrameMeta;
  stars: RecordStars;
}

/** Why a frame could not be laid on the others. */
export type NotRegistered =
  | 'no-stars' // the frame had a fault, or fewer than three usable stars
  | 'no-pattern' // another field, or too few stars in common
  | 'other-scale' // stars match, but the scale differs: another camera, binning or focal length
  | 'other-size'; // the frame has other dimensions than the run
