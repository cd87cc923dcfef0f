/**
 * Radial profiles of round stars, scaled to full width at half maximum 1 and volume 1 over the plane.
 * Sources: Gaussian, elementary; Moffat 1969 A&A 3, 455; Kolmogorov long exposure, transfer function
 * exp[-3.44193 (f / f0)^(5/3)] with FWHM = 0.975863 / f0 (Fried 1966; Racine 1996 PASP 108, 699).
 */
export type ProfileName = 'gaussian' | 'moffat' | 'kolmogorov';

/** Intensity as a function of the SQUARED radius in units of the full width at half maximum. */
export type RadialProfile = (radiusSquared: number) => number;

export function radialProfile(name: ProfileName, beta = 3.5): RadialProfile {
  if (name === 'gaussian') return gaussian;
  if (name === 'moffat') return moffat(beta);
  return (kolmogorovProfile ??= tabulateKolmogorov());
}

const LN2 = Math.LN2;
const gaussian: RadialProfile = (r2) => ((4 * LN2) / Math.PI) * Math.exp(-4 * LN2 * r2);

function moffat(beta: number): RadialProfile {
  if (!(beta > 1)) throw new Error('a Moffat profile holds a finite flux only for beta > 1');
  const inverseAlpha2 = 4 * (2 ** (1 / beta) - 1);
  const peak = ((beta - 1) * inverseAlpha2) / Math.PI;
  return (r2) => peak * (1 + r2 * inverseAlpha2) ** -beta;
}

let kolmogorovProfile: RadialProfile | null = null;

/** Exponent of the transfer function exp(-K f^(5/3)), f in cycles per full width at half maximum. */
export const KOLMOGOROV_EXPONENT = 3.441929 / 0.975863 ** (5 / 3);

/** Table over the core, asymptotic series beyond: the transform costs too much to be done for each pixel. */
function tabulateKolmogorov(): RadialProfile {
  const reach = 8;
  const perUnit = 100;
  const table = new Float64Array(reach * perUnit + 4);
  // Index i holds radius (i - 1) / perUnit: the cubic needs one point before zero, and the profile is even.
  for (let i = 1; i < table.length; i++) table[i] = kolmogorovAt((i - 1) / perUnit);
  table[0] = table[2];
  return (r2) => {
    const r = Math.sqrt(r2);
    if (r >= reach) return kolmogorovWing(r);
    const position = r * perUnit;
    const i = Math.floor(position);
    return cubic(table[i], table[i + 1], table[i + 2], table[i + 3], position - i);
  };
}

/** Four-point Lagrange interpolation between b (t = 0) and c (t = 1). */
const cubic = (a: number, b: number, c: number, d: number, t: number) =>
  (-t * (t - 1) * (t - 2) * a) / 6 +
  ((t + 1) * (t - 1) * (t - 2) * b) / 2 -
  ((t + 1) * t * (t - 2) * c) / 2 +
  ((t + 1) * t * (t - 1) * d) / 6;

/**
 * 2 pi times the integral of exp(-K f^(5/3)) J0(2 pi f r) f df. With f = g^3 the integrand is smooth at zero
 * (f^(5/3) = g^5), so Simpson's rule converges as it should.
 */
function kolmogorovAt(radius: number): number {
  const top = 3.2 ** (1 / 3);
  const steps = 2 * Math.ceil(150 + 40 * radius);
  let sum = 0;
  for (let i = 1; i < steps; i++) {
    const g = (i / steps) * top;
    const f = g * g * g;
    const weight = i % 2 === 1 ? 4 : 2;
    sum += weight * Math.exp(-KOLMOGOROV_EXPONENT * g ** 5) * besselJ0(2 * Math.PI * f * radius) * g ** 5;
  }
  return (2 * Math.PI * 3 * sum * top) / (3 * steps);
}

/** J0(x) = mean of cos(x sin t) over a quarter turn; the trapezoid rule on a periodic function is exact to rounding. */
function besselJ0(x: number): number {
  const n = Math.ceil(12 + Math.abs(x) * 0.4);
  let sum = 0.5 * (1 + Math.cos(x));
  for (let i = 1; i < n; i++) sum += Math.cos(x * Math.sin((Math.PI * i) / (2 * n)));
  return sum / n;
}

/**
 * Wings: term by term transform of exp(-K f^p), with 2-D transform of f^q being
 * pi^(-q-1) Gamma(1 + q/2) / Gamma(-q/2) r^(-q-2), for q = 5/3, 10/3, 5.
 */
function kolmogorovWing(r: number): number {
  const k = KOLMOGOROV_EXPONENT;
  return WING.reduce((sum, { q, c }, i) => sum + (c * (-k) ** (i + 1) * r ** (-q - 2)) / [1, 2, 6][i], 0);
}

/** Gamma(11/6) / Gamma(-5/6), Gamma(8/3) / Gamma(-5/3), Gamma(7/2) / Gamma(-5/2). */
const WING = [
  { q: 5 / 3, ratio: 0.9406557 / -6.6795792 },
  { q: 10 / 3, ratio: 1.5045755 / 2.4110447 },
  { q: 5, ratio: 3.3233509 / -0.9453087 },
].map(({ q, ratio }) => ({ q, c: ratio * Math.PI ** (-q - 1) }));
