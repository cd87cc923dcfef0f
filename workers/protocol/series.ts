import type { FrameMeta } from './frame.ts';
import type { Estimate, FrameReport, VectorEstimate } from './report.ts';

/**
 * A run: several frames of one field, one after the other. Per frame only a small record is kept (at most 100 kB, no
 * pixels), made by `recordOf(report, stars, meta)`; `trackRun(records, options)`, both in workers/series, turns the records into a
 * SeriesResult. Everything here is plain data
 * that may be posted, stored and written as JSON (columns as arrays).
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

/** What is known besides the frames; everything may be left out. */
export interface TrackOptions {
  /** A trail up to this long is still called good; 2 px when not said. */
  limitPx?: number;
  /** Overrides the scale of the frames; with its standard error where it was measured. */
  arcsecPerPx?: number | null;
  arcsecPerPxSigma?: number;
  /** Period of the worm that the user knows of; then only its harmonics are fitted. */
  periodS?: number | null;
  latitudeDeg?: number | null;
  /** East positive. */
  longitudeDeg?: number | null;
  /** Signed: + = a larger focus position moves the sensor away from the optics. */
  focusUmPerStep?: number | null;
  /** Where west and north lie on the sensor, when known from elsewhere, e.g. a frame with the drive stopped. */
  orientation?: SkyOrientation | null;
  orientationSigmaDeg?: number;
}

/* --- what `--series` prints: the names and units of this object are the contract --- */

export interface SeriesReport {
  kind: 'tracking' | 'focus';
  frames: number;
  used: number;
  /** One per used frame, in order of time. */
  path: PathPoint[];
  /** Motion of the field in the first used frame's axes, jumps, dithers and changes of the pier side taken out. */
  driftPxPerMin: VectorEstimate;
  rotationDegPerMin: Estimate | null;
  /** Null when none is significant. */
  periodic: PeriodicError | null;
  /** Null too where the frames show that the mount moves within the exposures in ways that the path does not show. */
  longestExposureS: LongestExposure | null;
  /** Null in a tracking run. */
  focus: FocusRun | null;
}

/**
 * Where the star that lay at the sensor's centre in the first used frame is in this one, less the centre, in this frame's
 * pixels, and by how much the field has turned (from +x towards +y): a star at w from the centre, as a complex number,
 * has gone to w exp(i rotation) + x + iy. On the other side of the pier rotationDeg is therefore near 180.
 */
export interface PathPoint {
  /** Mid-exposure, from that of the first used frame; null when no file tells its time. */
  timeS: number | null;
  xPx: number;
  yPx: number;
  rotationDeg: number;
}

export interface PeriodicError {
  /** Half of peak to peak, of the mount itself: the smoothing by the exposure is taken out. */
  amplitudePx: Estimate;
  periodS: Estimate;
  /** Axis of the motion on the sensor. */
  angleDeg: Estimate;
  /** Probability that noise alone gives a peak as high anywhere in the periods searched; 0 to 1. */
  falseAlarm: number;
}

/** Exposures of that length whose trail stays under limitPx, in 50, 90, 95 % of starts; null = longer than can be told. */
export interface LongestExposure {
  limitPx: number;
  share50: Estimate | null;
  share90: Estimate | null;
  share95: Estimate | null;
}

export interface FocusRun {
  bestPosition: Estimate | null;
  umPerStep: Estimate | null;
  tiltUmPerMm: VectorEstimate;
  curvaturePerM: Estimate | null;
}

/* --- what the page shows besides --- */

/** The whole answer about a run. */
export interface SeriesResult {
  report: SeriesReport;
  /** One per frame, in order of time; `record` is the place in the list that was given. */
  frames: SeriesFrame[];
  jumps: Jump[];
  /** Measured places and fitted path for drawing. */
  drawing: RunDrawing;
  /** What share of exposures of a length stays under the limit: the curve behind `longestExposureS`. */
  keeping: KeptShare[];
  /** Right ascension and declination apart; null while the orientation of the sensor is unknown. */
  sky: SkyTracking | null;
  /** A swing with a shorter period hides between the frames: twice the time from one to the next; null without times. */
  hiddenBelowS: number | null;
  /** One sentence: what to do. Then the reasons and cautions, the weightiest first. */
  headline: string;
  notes: string[];
}

/** All in the first used frame's axes, the camera's turns undone: what was measured and what was fitted. */
export interface RunDrawing {
  /** One per used frame with a time; `frame` is the place in `frames`. */
  measured: { frame: number; timeS: number; xPx: number; yPx: number; sigmaPx: number }[];
  /** The fitted path of the mount, evenly in time: drift, waves and jumps. */
  fitted: { timeS: number; xPx: number; yPx: number }[];
}

export interface SeriesFrame {
  record: number;
  file: string;
  /** Mid-exposure, seconds from that of the first used frame; null when the file tells no time. */
  timeS: number | null;
  exposureS: number | null;
  registration: Registration;
  /** Null when the frame could not be registered or has no shapes. */
  shape: ShapePrediction | null;
}

/** How the star field of a frame lies on that of the first used one. */
export type Registration =
  | {
      ok: true;
      /** Displacement of the star at the sensor's centre; covariance [xx, xy, yy] in px². */
      xPx: number;
      yPx: number;
      covariancePx2: [number, number, number];
      rotationDeg: Estimate;
      scale: Estimate;
      /** The picture is a mirror image of the first. */
      mirrored: boolean;
      /** Turned by more than a quarter: the other side of the pier, or the camera was turned round. */
      flipped: boolean;
      /** Stars found in both frames, and their scatter about the fit. */
      matched: number;
      rmsPx: number;
    }
  | { ok: false; why: NotRegistered; sentence: string };

export type NotRegistered =
  | 'no-stars' // the frame had a fault, or fewer than three usable stars
  | 'no-pattern' // another field, or too few stars in common
  | 'other-scale' // stars match, but the scale differs: another camera, binning or focal length
  | 'other-size' // the frame has other dimensions than the run
  | 'no-time'; // laid on the others, but the file alone does not tell its time

/** The field moved at once, between two frames or during one. */
export interface Jump {
  /** Place in `frames` of the first frame after it. */
  frame: number;
  xPx: Estimate;
  yPx: Estimate;
  /** One of many is dithering; with a turn of the field it is the change of the pier side or a hand on the camera. */
  kind: 'jump' | 'dither' | 'flip';
}

/** Elongation that the path foretells for a frame's exposure, against the one seen. */
export interface ShapePrediction {
  /** Length of the path within the exposure and its axis. */
  trailPx: Estimate;
  predicted: { elongation: Estimate; angleDeg: Estimate };
  seen: { elongation: Estimate; angleDeg: Estimate };
  /** Chi squared of the difference, two degrees of freedom. */
  chi2: number;
  /** Length of a straight trail that would give what neither the path nor the other frames' common shape explains. */
  leftTrailPx: Estimate;
  /**
   * round: nothing to explain. tracking: the path explains the elongation. optics: the stars are long without the path.
   * both: the path explains a part. within: longer than the path foretells, and differently from the other frames: a
   * gust, a knock or a swing too fast for this run.
   */
  says: 'round' | 'tracking' | 'optics' | 'both' | 'within';
}

/** Share of exposures of this length, begun at any moment, whose trail stays under the limit. */
export interface KeptShare {
  exposureS: number;
  share: Estimate;
}

/** Directions on the sensor, degrees from +x towards +y, in the first used frame. */
export interface SkyOrientation {
  northDeg: number;
  eastDeg: number;
  source: 'world-coordinates' | 'rotation-keyword' | 'stopped-drive' | 'told';
}

/** Motion of the star field on the sky, arc seconds; stars running west have a negative right ascension rate. */
export interface SkyTracking {
  orientation: SkyOrientation;
  arcsecPerPx: number;
  /** Right ascension as arc on the sky (times cos declination); positive = the field moves towards east on the sensor. */
  raArcsecPerMin: Estimate;
  decArcsecPerMin: Estimate;
  /** Half of peak to peak along right ascension, arc on the sky. */
  periodicRaArcsec: Estimate | null;
  /** Middle of the run, milliseconds since 1970. */
  midTimeMs: number | null;
  polar: PolarError | null;
}

/** What the declination drift says of the polar axis. */
export interface PolarError {
  hourAngleH: number;
  declinationDeg: number;
  latitudeDeg: number;
  /** One field gives one combination: high * sin(H) + east * cos(latitude) * cos(H), arc minutes. */
  combinationArcmin: Estimate;
  /** Declination drift that refraction alone gives there, arc seconds per minute: it is in the number above. */
  refractionArcsecPerMin: number | null;
}
