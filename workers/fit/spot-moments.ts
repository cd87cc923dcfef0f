import { LOCAL } from './parameters.ts';
import { annulusMeans } from './optics.ts';

/**
 * Second and third central moments of a star as spins, pixels squared and cubed:
 * [trace, Re Q, Im Q, Re K1, Im K1, Re K3, Im K3] with trace = <|z|^2>, Q = <z^2>, K1 = <|z|^2 z>, K3 = <z^3>.
 */
export const MOMENT_COUNT = 7;

/** Full width at half maximum of a Gaussian of unit standard deviation. */
export const FWHM_PER_SIGMA = 2.3548;

/**
 * Moments of the geometric spot of the wavefront at one star (no spherical aberration) with round blur and motion, by
 * the closed forms for an annular pupil: spot = p z + 2A z* + C(6 rho^2 - 2) + 3C* z^2 + 3T z*^2.
 * `locals` in the order of LOCALS, `pathVariance` per unit motion squared. Third moments of a path are left out.
 */
export function spotMoments(
  locals: Float64Array,
  obstruction: number,
  pathVariance: number,
  out: Float64Array,
): void {
  const { rho2: m, rho4 } = annulusMeans(obstruction);
  const v = rho4 - m * m;
  const d = locals[LOCAL.defocus];
  // Per-pixel coefficients in the closed form's normalisation: C = coma / 3, A = astigmatism / 2, T = trefoil / 3.
  const cr = locals[LOCAL.comaX] / 3;
  const ci = locals[LOCAL.comaY] / 3;
  const ar = locals[LOCAL.astigmatism0] / 2;
  const ai = locals[LOCAL.astigmatism45] / 2;
  const tr = locals[LOCAL.trefoil0] / 3;
  const ti = locals[LOCAL.trefoil1] / 3;
  const c2 = cr * cr + ci * ci;
  const a2 = ar * ar + ai * ai;
  const t2 = tr * tr + ti * ti;
  const sigma = Math.exp(locals[LOCAL.lnBlur]) / FWHM_PER_SIGMA;
  const mx = locals[LOCAL.motionX];
  const my = locals[LOCAL.motionY];
  out[0] =
    d * d * m +
    4 * m * a2 +
    (9 * m * m + 45 * v) * c2 +
    9 * rho4 * t2 +
    2 * (sigma * sigma + 1 / 12) +
    pathVariance * (mx * mx + my * my);
  // C^2, C* T
  out[1] =
    4 * ar * d * m +
    36 * v * (cr * cr - ci * ci) +
    18 * rho4 * (cr * tr + ci * ti) +
    pathVariance * (mx * mx - my * my);
  out[2] = 4 * ai * d * m + 72 * v * cr * ci + 18 * rho4 * (cr * ti - ci * tr) + 2 * pathVariance * mx * my;
  const mv = 216 * m * v;
  const own = 3 * d * d * (rho4 + 4 * v) + 48 * v * a2 + mv * (c2 + t2);
  const cross = 12 * d * (m * m + 3 * v);
  const tilt = 12 * d * rho4;
  const a2r = ar * ar - ai * ai;
  const a2i = 2 * ar * ai;
  const cc2r = cr * cr - ci * ci; // (C*)^2
  const cc2i = -2 * cr * ci;
  out[3] =
    own * cr +
    cross * (ar * cr + ai * ci) +
    tilt * (ar * tr + ai * ti) +
    12 * rho4 * (a2r * tr + a2i * ti) +
    mv * (cc2r * tr - cc2i * ti);
  out[4] =
    own * ci +
    cross * (ai * cr - ar * ci) +
    tilt * (ar * ti - ai * tr) +
    12 * rho4 * (a2i * tr - a2r * ti) +
    mv * (cc2r * ti + cc2i * tr);
  const k3t = 9 * d * d * rho4 + 648 * m * v * c2;
  out[5] = k3t * tr + 72 * v * d * (ar * cr - ai * ci) + 36 * rho4 * (a2r * cr + a2i * ci);
  out[6] = k3t * ti + 72 * v * d * (ar * ci + ai * cr) + 36 * rho4 * (a2i * cr - a2r * ci);
}
