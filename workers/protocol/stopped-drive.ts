import type { Estimate } from './report.ts';
import type { SkyOrientation } from './series.ts';

/** Trails of a frame whose stars first stood and then ran: each has a bright end, where it began. */
export interface TrailsSeen {
  /** Direction in which the stars ran, degrees from +x towards +y at the frame's middle. */
  ranDeg: Estimate;
  /** Turn of that direction per px of way, degrees: the stars run round the pole. Positive from +x towards +y. */
  turnDegPerPx: Estimate;
  lengthPx: Estimate;
  /** Part of the exposure in which the stars ran, by the light of trail and bright end. */
  ranShare: Estimate;
}

/** What a frame says that tracked for some seconds and then stood: its trails, and its header as far as it helps. */
export interface StoppedFrame {
  file: string;
  widthPx: number;
  heightPx: number;
  trails: TrailsSeen;
  exposureS: number | null;
  declinationDeg: number | null;
  pierSide: 'east' | 'west' | null;
}

/** What a person tells of such a frame; null: taken from the file. */
export interface StoppedTold {
  exposureS: number | null;
  /** Without it there is no scale. */
  declinationDeg: number | null;
  /** An odd number of mirrors, or rows stored the other way; null: told by how the trails bend, if they do. */
  mirrored: boolean | null;
}

/** Where the sky's directions lie, from stars that ran over a sensor at rest. */
export interface StoppedDrive {
  orientation: SkyOrientation;
  /** Standard error of the directions. */
  directionSigmaDeg: number;
  /** What tells north from south: the bend of the trails about the pole, what was told, or a picture taken as not mirrored. */
  northFrom: 'bend' | 'told' | 'assumed';
  arcsecPerPx: Estimate | null;
  /** For how long the stars stood before the drive was switched off; null for a run, or an exposure that is not known. */
  stoodS: Estimate | null;
}
