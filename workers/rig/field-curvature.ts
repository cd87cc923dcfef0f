/**
 * The focal surface of a single mirror with the stop at the mirror, medial between the tangential and the sagittal
 * one: radius f, bent towards the mirror (Schroeder, Astronomical Optics, ch. 5-6; paraboloid and sphere alike).
 */
export const mirrorFieldRadiusMm = (focalMm: number): number => focalMm;

/** Radius f/3 for an ordinary achromatic doublet: common practice, no source; glass and spacing change it. */
export const doubletFieldRadiusMm = (focalMm: number): number => focalMm / 3;

/** Depth of a spherical cap of radius R at height h: R - sqrt(R² - h²), about h²/2R. Millimetres; NaN beyond R. */
export const sagMm = (heightMm: number, radiusMm: number): number =>
  heightMm ** 2 / (radiusMm + Math.sqrt(radiusMm ** 2 - heightMm ** 2));

/** Blur disc in the corner in micrometres: all of the sag when the centre is in focus, half when it is shared. */
export const curvatureBlurUm = (
  sag: number,
  focalRatio: number,
): { centreFocusedUm: number; sharedUm: number } => ({
  centreFocusedUm: (1000 * sag) / focalRatio,
  sharedUm: (500 * sag) / focalRatio,
});

/**
 * Astigmatism of a single mirror with the stop at the mirror: diameter of the blur disc midway between its two line
 * foci, h² / (2 f F), micrometres (Handbook of Optics; angular θ²/2F).
 */
export const astigmaticBlurUm = (heightMm: number, focalMm: number, focalRatio: number): number =>
  (1000 * heightMm ** 2) / (2 * focalMm * focalRatio);
