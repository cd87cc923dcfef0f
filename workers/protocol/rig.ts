/** What is known of the telescope, the camera and the site; null where nobody said. */
export interface Rig {
  focalLengthMm: number | null;
  apertureMm: number | null;
  /** Linear central obstruction, 0 to 1. */
  obstruction: number | null;
  pixelSizeUm: number | null;
  /** Full width at half maximum that the site's air usually gives. */
  usualSeeingArcsec: number | null;
  /** What the user cannot change. */
  fixed: { corrector: boolean; primary: boolean; tilt: boolean; focuserAtStop: boolean };
}

export const UNKNOWN_RIG: Rig = {
  focalLengthMm: null,
  apertureMm: null,
  obstruction: null,
  pixelSizeUm: null,
  usualSeeingArcsec: null,
  fixed: { corrector: false, primary: false, tilt: false, focuserAtStop: false },
};

/** Arc seconds per pixel; 206.264806 = arc seconds in a radian / 1000. Null when a length is unknown. */
export const arcsecPerPx = (rig: Pick<Rig, 'focalLengthMm' | 'pixelSizeUm'>): number | null =>
  rig.focalLengthMm && rig.pixelSizeUm ? (206.264806 * rig.pixelSizeUm) / rig.focalLengthMm : null;
