/**
 * Spherical aberration of a spherical mirror, object at infinity, third order. A sphere lies r⁴/(8R³) above the
 * paraboloid at the edge; light meets the difference twice, and R = 2f, so the wavefront's edge is off by D/(512 F³).
 */

/** Peak-to-valley error of the wavefront at the best focus, micrometres: a quarter of the above, D/(2048 F³). */
export const sphereErrorUm = (apertureMm: number, focalRatio: number): number =>
  (1000 * apertureMm) / (2048 * focalRatio ** 3);

/** Diameter of the smallest circle that holds all rays, micrometres: D / (128 F²). */
export const sphereBlurUm = (apertureMm: number, focalRatio: number): number =>
  (1000 * apertureMm) / (128 * focalRatio ** 2);

/** Distance between the focus of the edge and that of the middle, millimetres: D / (32 F). */
export const sphereFocusSpreadMm = (apertureMm: number, focalRatio: number): number =>
  apertureMm / (32 * focalRatio);

/** Focal ratio from which a sphere is as good as a quarter wave at the best focus: F³ = D / (512 λ). */
export const sphereGoodRatio = (apertureMm: number, wavelengthUm: number): number =>
  Math.cbrt((1000 * apertureMm) / (512 * wavelengthUm));
