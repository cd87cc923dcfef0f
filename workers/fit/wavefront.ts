import { annulusMeans } from './optics.ts';
import type { Optics } from './optics.ts';

/**
 * The terms of the wavefront at one star. Coefficients are in pixels: the radius (or the like) of the geometric
 * spot that the term alone would make, so that 1 means the same to every term. (u, v): pupil, radius 1 at the edge.
 */
export const TERMS = [
  'defocus',
  'comaX',
  'comaY',
  'astigmatism0',
  'astigmatism45',
  'trefoil0',
  'trefoil1',
  'spherical',
] as const;
export type Term = (typeof TERMS)[number];

/** Polynomials as defined in the report's conventions, before scaling. */
const polynomial: Record<Term, (u: number, v: number) => number> = {
  defocus: (u, v) => u * u + v * v,
  comaX: (u, v) => u * (u * u + v * v - 2 / 3),
  comaY: (u, v) => v * (u * u + v * v - 2 / 3),
  astigmatism0: (u, v) => u * u - v * v,
  astigmatism45: (u, v) => 2 * u * v,
  trefoil0: (u, v) => u ** 3 - 3 * u * v * v,
  trefoil1: (u, v) => 3 * u * u * v - v ** 3,
  spherical: (u, v) => 6 * (u * u + v * v) ** 2 - 6 * (u * u + v * v),
};

/**
 * Micrometres of the report's wavefront coefficient (defocus: of longitudinal distance) per pixel of coefficient.
 * Spot = 2 F grad W: defocus z has edge radius dz / (2 F); coma 2 F C; astigmatism 4 F A; trefoil 6 F T;
 * spherical 24 F S.
 */
export const micrometresPerPixel = (term: Term, optics: Optics): number => {
  const { focalRatio: f, pixelUm } = optics;
  switch (term) {
    case 'defocus':
      return 2 * f * pixelUm;
    case 'comaX':
    case 'comaY':
      return pixelUm / (2 * f);
    case 'astigmatism0':
    case 'astigmatism45':
      return pixelUm / (4 * f);
    case 'trefoil0':
    case 'trefoil1':
      return pixelUm / (6 * f);
    case 'spherical':
      return pixelUm / (24 * f);
  }
};

/** Waves at pupil point (u, v) per pixel of coefficient. A sensor dz behind focus sees W = dz rho^2 / (8 F^2). */
export const wavesPerPixel = (term: Term, u: number, v: number, optics: Optics): number => {
  const um =
    term === 'defocus' ? optics.pixelUm / (4 * optics.focalRatio) : micrometresPerPixel(term, optics);
  return (um / optics.wavelengthUm) * polynomial[term](u, v);
};

/**
 * Per-axis variance (half the trace of the second-moment tensor, px^2) of the geometric spot per squared
 * coefficient. Follows from spot = 2 F grad W averaged over the annulus, centroid removed.
 */
export const spotVariance = (term: Term, obstruction: number): number => {
  const { rho2, rho4, rho6 } = annulusMeans(obstruction);
  switch (term) {
    case 'defocus':
    case 'astigmatism0':
    case 'astigmatism45':
      return rho2 / 2;
    case 'comaX':
    case 'comaY':
      return (5 * rho4 - 4 * rho2 * rho2) / 2;
    case 'trefoil0':
    case 'trefoil1':
      return rho4 / 2;
    case 'spherical':
      // Spot radius 2 rho^3 - rho per unit.
      return (4 * rho6 - 4 * rho4 + rho2) / 2;
  }
};
