import type { Optics, SceneRig, Vector } from './scene.ts';

/** The wavefront at one place of the field: coefficients in micrometres at the pupil's edge (see Optics). */
export interface Wavefront {
  defocus: number;
  comaU: number;
  comaV: number;
  astigmatism0: number;
  astigmatism45: number;
  trefoil0: number;
  trefoil1: number;
  spherical: number;
}

/** How far the sensor lies behind the focal surface at a place of the field. */
export function defocusUm(optics: Optics, at: Vector): number {
  const { focusUm, tiltUmPerMm, curvatureRadiusMm, axisMm } = optics;
  const r2 = (at.x - axisMm.x) ** 2 + (at.y - axisMm.y) ** 2;
  const sagUm = curvatureRadiusMm === 0 ? 0 : (1000 * r2) / (2 * curvatureRadiusMm);
  return focusUm + tiltUmPerMm.x * at.x + tiltUmPerMm.y * at.y - sagUm;
}

/** `focusShiftUm`: what the colour of the light adds to the focus. */
export function wavefrontAtField(
  optics: Optics,
  rig: Pick<SceneRig, 'focalLengthMm' | 'focalRatio'>,
  at: Vector,
  focusShiftUm = 0,
): Wavefront {
  const F = rig.focalRatio;
  const hx = at.x - optics.axisMm.x;
  const hy = at.y - optics.axisMm.y;
  const comaPerMm = (1000 * optics.comaStrength) / (32 * F ** 3);
  const astigmatismPerMm2 = (1000 * optics.astigmatismStrength) / (16 * F ** 2 * rig.focalLengthMm);
  return {
    defocus: (defocusUm(optics, at) + focusShiftUm) / (8 * F ** 2),
    comaU: comaPerMm * hx + optics.comaConstantUm.x,
    comaV: comaPerMm * hy + optics.comaConstantUm.y,
    astigmatism0: astigmatismPerMm2 * (hx * hx - hy * hy) + optics.astigmatismUm.cos,
    astigmatism45: astigmatismPerMm2 * 2 * hx * hy + optics.astigmatismUm.sin,
    trefoil0: optics.trefoilUm.cos,
    trefoil1: optics.trefoilUm.sin,
    spherical: optics.sphericalUm,
  };
}

/** W at the pupil's (u, v). */
export function pathUm(w: Wavefront, u: number, v: number): number {
  const rho2 = u * u + v * v;
  return (
    (w.comaU * u + w.comaV * v) * (rho2 - 2 / 3) +
    (w.defocus + w.spherical * (6 * rho2 - 6)) * rho2 +
    w.astigmatism0 * (u * u - v * v) +
    2 * w.astigmatism45 * u * v +
    w.trefoil0 * u * (u * u - 3 * v * v) +
    w.trefoil1 * v * (3 * u * u - v * v)
  );
}

/** Where the ray through the pupil's (u, v) meets the sensor, from the star's place: 2F grad W. */
export function rayUm(w: Wavefront, focalRatio: number, u: number, v: number): Vector {
  const rho2 = u * u + v * v;
  const radial = 2 * (w.defocus + w.comaU * u + w.comaV * v) + w.spherical * (24 * rho2 - 12);
  return {
    x:
      2 *
      focalRatio *
      (radial * u +
        w.comaU * (rho2 - 2 / 3) +
        2 * (w.astigmatism0 * u + w.astigmatism45 * v) +
        3 * w.trefoil0 * (u * u - v * v) +
        6 * w.trefoil1 * u * v),
    y:
      2 *
      focalRatio *
      (radial * v +
        w.comaV * (rho2 - 2 / 3) +
        2 * (w.astigmatism45 * u - w.astigmatism0 * v) -
        6 * w.trefoil0 * u * v +
        3 * w.trefoil1 * (u * u - v * v)),
  };
}

/** Radius about the star's place that holds all rays: sampled on eight rings, for the size of pictures. */
export function spotReachUm(w: Wavefront, focalRatio: number): number {
  let reach = 0;
  for (let ring = 1; ring <= 8; ring++) {
    for (let k = 0; k < 48; k++) {
      const angle = (2 * Math.PI * k) / 48;
      const ray = rayUm(w, focalRatio, (ring / 8) * Math.cos(angle), (ring / 8) * Math.sin(angle));
      reach = Math.max(reach, Math.hypot(ray.x, ray.y));
    }
  }
  return reach;
}
