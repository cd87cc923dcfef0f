export const OPTICS_KINDS = [
  'paraboloid',
  'sphere',
  'corrected-reflector',
  'refractor',
  'flattened-refractor',
  'catadioptric',
  'lens',
] as const;
export type OpticsKind = (typeof OPTICS_KINDS)[number];

/** How the mount follows the sky. */
export type Following = 'equatorial' | 'altazimuth' | 'none';

/** What is known of the telescope, the camera and the site; null where nobody said. */
export interface Rig {
  optics: OpticsKind | null;
  focalLengthMm: number | null;
  apertureMm: number | null;
  /** Linear central obstruction, 0 to 1. */
  obstruction: number | null;
  pixelSizeUm: number | null;
  /** Full width at half maximum that the site's air usually gives. */
  usualSeeingArcsec: number | null;
  following: Following | null;
  /** The user's own measure: blur in the corners up to this many times what air and pixels leave is good enough. */
  goodEnough: number | null;
  /** What the user cannot change: no corrector fits, the mirror has no screws, the sensor cannot be squared, ... */
  fixed: { corrector: boolean; primary: boolean; tilt: boolean; focuserAtStop: boolean };
}

export const UNKNOWN_RIG: Rig = {
  optics: null,
  focalLengthMm: null,
  apertureMm: null,
  obstruction: null,
  pixelSizeUm: null,
  usualSeeingArcsec: null,
  following: null,
  goodEnough: null,
  fixed: { corrector: false, primary: false, tilt: false, focuserAtStop: false },
};

/** Arc seconds per pixel; 206.264806 = arc seconds in a radian / 1000. Null when a length is unknown. */
export const arcsecPerPx = (rig: Pick<Rig, 'focalLengthMm' | 'pixelSizeUm'>): number | null =>
  rig.focalLengthMm && rig.pixelSizeUm ? (206.264806 * rig.pixelSizeUm) / rig.focalLengthMm : null;
