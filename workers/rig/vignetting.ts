/**
 * What a round stop in the converging cone lets pass: a small secondary, or the focuser's tube. The cone that makes the
 * image at height h is D wide at the aperture (distance f from the focus) and a point at the focus; at distance L from
 * the focus it is a disc of diameter D L/f whose middle lies h (1 - L/f) from the axis. Plane geometry; the secondary's
 * own offset towards the focuser is taken as made.
 */
export interface Stop {
  /** Clear diameter (for a secondary: its minor axis), millimetres. */
  diameterMm: number;
  /** Distance from the focal plane, along the light. */
  toFocusMm: number;
}

/** Diameter of the field that gets all of the light, millimetres; negative when not even the axis does. */
export const fullyLitFieldMm = (stop: Stop, apertureMm: number, focalMm: number): number =>
  (stop.diameterMm * focalMm - apertureMm * stop.toFocusMm) / (focalMm - stop.toFocusMm);

/** Smallest stop that lets all the light of a field of diameter `fieldMm` pass, millimetres. */
export const neededStopMm = (
  toFocusMm: number,
  fieldMm: number,
  apertureMm: number,
  focalMm: number,
): number => fieldMm + ((apertureMm - fieldMm) * toFocusMm) / focalMm;

/** Part of the cone's light that passes the stop for the image at `heightMm` from the axis, 0 to 1. */
export function passedFraction(stop: Stop, heightMm: number, apertureMm: number, focalMm: number): number {
  const cone = (apertureMm * stop.toFocusMm) / (2 * focalMm);
  const offset = heightMm * (1 - stop.toFocusMm / focalMm);
  return circleOverlap(cone, stop.diameterMm / 2, offset) / (Math.PI * cone ** 2);
}

/** Area that two circles share. Elementary: two segments, one of each. */
export function circleOverlap(radiusA: number, radiusB: number, distance: number): number {
  const small = Math.min(radiusA, radiusB);
  if (distance >= radiusA + radiusB) return 0;
  if (distance <= Math.abs(radiusA - radiusB)) return Math.PI * small ** 2;
  const segment = (r: number, other: number) => {
    const reach = (distance ** 2 + r ** 2 - other ** 2) / (2 * distance);
    const half = Math.acos(Math.min(1, Math.max(-1, reach / r)));
    return r ** 2 * (half - Math.sin(2 * half) / 2);
  };
  return segment(radiusA, radiusB) + segment(radiusB, radiusA);
}
