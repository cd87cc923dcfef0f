/**
 * How many times more light an extended object sends to an equal area of sensor at `focalRatio` than at `otherRatio`:
 * (F_other / F)². Same transmission, same obstruction. Elementary photometry: illuminance goes with the solid angle
 * of the cone. Point sources go with the aperture's area instead.
 */
export const speedRatio = (focalRatio: number, otherRatio: number): number => (otherRatio / focalRatio) ** 2;

/** Exposure at `focalRatio` that collects, per area of sensor, what `otherS` seconds at `otherRatio` do. */
export const equalExposureS = (focalRatio: number, otherRatio: number, otherS: number): number =>
  otherS / speedRatio(focalRatio, otherRatio);

/** Part of the aperture's light that a central obstruction (diameter ratio) lets pass. */
export const openFraction = (obstruction: number): number => 1 - obstruction ** 2;
