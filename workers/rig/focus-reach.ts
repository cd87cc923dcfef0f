import { glassForShiftMm, glassShiftMm } from './filter-glass.ts';

/** What stands between the focuser and the sensor. Lengths in millimetres, along the light. */
export interface Reach {
  /** Height of the focal plane above the drawtube's end with the focuser racked fully in. */
  focusHeightMm: number;
  /** How far the focuser can be racked out; null = not told. */
  travelMm: number | null;
  adapters: { name: string; lengthMm: number }[];
  /** Sensor behind the camera's front flange. */
  flangeDepthMm: number;
  glass: { thicknessMm: number; index: number } | null;
}

export interface ReachAnswer {
  /** Sensor above the drawtube's end: adapters and flange depth. */
  stackMm: number;
  /** Focus above the drawtube's end, racked in: the glass pushes it out. */
  focusMm: number;
  glassShiftMm: number;
  /** How far to rack out for focus; negative: that much is missing inwards. */
  rackOutMm: number;
  verdict: 'reached' | 'short-inward' | 'short-outward';
  /** What is missing, inwards or outwards; 0 when focus is reached. */
  shortMm: number;
}

/**
 * Racking out by e moves the camera by e, so the focal plane lies at height + glass - e above the drawtube's end; the
 * sensor sits at adapters + flange depth. Plain addition of lengths.
 */
export function reachFocus(reach: Reach): ReachAnswer {
  const shift = reach.glass ? glassShiftMm(reach.glass.thicknessMm, reach.glass.index) : 0;
  const stackMm = reach.flangeDepthMm + reach.adapters.reduce((sum, { lengthMm }) => sum + lengthMm, 0);
  const focusMm = reach.focusHeightMm + shift;
  const rackOutMm = focusMm - stackMm;
  const travel = reach.travelMm ?? Infinity;
  const verdict = rackOutMm < 0 ? 'short-inward' : rackOutMm > travel ? 'short-outward' : 'reached';
  const shortMm = { 'short-inward': -rackOutMm, 'short-outward': rackOutMm - travel, reached: 0 }[verdict];
  return { stackMm, focusMm, glassShiftMm: shift, rackOutMm, verdict, shortMm };
}

/** Index of common crown glass, for what a plate of it would give: a common borosilicate crown has 1.5168 at 0.588 µm. */
export const CROWN_INDEX = 1.5168;

/** Plate of crown glass that would make up for `shortMm` of missing in-travel. */
export const plateForShortMm = (shortMm: number): number => glassForShiftMm(shortMm, CROWN_INDEX);

/**
 * Where a corrector has to sit: its shoulder `workingMm` in front of the sensor, lengthened by what glass between the
 * two adds. Returns the spacers needed between shoulder and camera flange (negative: the camera is too deep for it).
 */
export const correctorSpacersMm = (workingMm: number, flangeDepthMm: number, glassMm: number): number =>
  workingMm + glassMm - flangeDepthMm;
