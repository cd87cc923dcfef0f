/**
 * Light of a point through an annular aperture, I(v) ∝ [2 J1(v)/v - ε² 2 J1(εv)/(εv)]², v = π θ D / λ
 * (Airy 1835; annulus: Born & Wolf § 8.6, section number from memory). Angles in units of λ/D; on the sensor the unit
 * is λF. ε is the linear central obstruction.
 */
export function annularPattern(lambdaOverD: number, obstruction: number): number {
  const v = Math.PI * lambdaOverD;
  const open = 1 - obstruction ** 2;
  return ((jinc(v) - obstruction ** 2 * jinc(obstruction * v)) / open) ** 2;
}

/** Full width at half maximum, in λ/D. */
export const diffractionFwhm = (obstruction: number): number =>
  2 * solve((r) => annularPattern(r, obstruction) - 0.5, 0.2, 0.8);

/** Radius of the first dark ring, in λ/D. */
export function firstDarkRadius(obstruction: number): number {
  // The amplitude changes its sign there, the light does not.
  const amplitude = (r: number) => jinc(Math.PI * r) - obstruction ** 2 * jinc(obstruction * Math.PI * r);
  return solve(amplitude, 0.5, 1.4);
}

/** 2 J1(x) / x, 1 at zero. */
const jinc = (x: number): number => (Math.abs(x) < 1e-6 ? 1 : (2 * besselJ1(x)) / x);

/** J1 by Bessel's integral; the trapezoid rule over a whole period converges faster than any power. */
export function besselJ1(x: number): number {
  const steps = 64;
  let sum = 0;
  for (let i = 0; i < steps; i++) {
    const t = (2 * Math.PI * i) / steps;
    sum += Math.cos(t - x * Math.sin(t));
  }
  return sum / steps;
}

/** A root of `f` between two places where its sign differs, by halving. */
function solve(f: (x: number) => number, from: number, to: number): number {
  let [low, high] = [from, to];
  const rising = f(high) > f(low);
  for (let i = 0; i < 60; i++) {
    const middle = (low + high) / 2;
    if (f(middle) > 0 === rising) high = middle;
    else low = middle;
  }
  return (low + high) / 2;
}
