import { ARCSEC_PER_RADIAN } from './image-scale.ts';

const DEG = Math.PI / 180;

/** Air's thickness in units of that overhead. Pickering 2002, DIO 12, 3; apparent altitude in degrees. */
export const airmass = (altitudeDeg: number): number =>
  1 / Math.sin((altitudeDeg + 244 / (165 + 47 * altitudeDeg ** 1.1)) * DEG);

export interface Air {
  pressureHpa: number;
  temperatureC: number;
  /** Pressure of water vapour. */
  vapourHpa: number;
}

/** A mild night at sea level. */
export const MILD_AIR: Air = { pressureHpa: 1013, temperatureC: 10, vapourHpa: 6 };
const MMHG_PER_HPA = 0.750062;

/** Refractive index of air less one. Filippenko 1982, PASP 94, 715, after Edlén 1953. */
export function refractivity(wavelengthUm: number, air: Air): number {
  const { temperatureC: t } = air;
  const p = air.pressureHpa * MMHG_PER_HPA;
  const f = air.vapourHpa * MMHG_PER_HPA;
  const s = wavelengthUm ** -2;
  const standard = 64.328 + 29498.1 / (146 - s) + 255.4 / (41 - s);
  const dry = (standard * p * (1 + (1.049 - 0.0157 * t) * 1e-6 * p)) / (720.883 * (1 + 0.003661 * t));
  return 1e-6 * (dry - (f * (0.0624 - 0.00068 * s)) / (1 + 0.003661 * t));
}

/**
 * How much nearer to the zenith the first colour appears than the second, arc seconds: 206265 (n1 - n2) tan z. Plane
 * layers; good above 20° of altitude.
 */
export const dispersionArcsec = (
  fromUm: number,
  toUm: number,
  altitudeDeg: number,
  air: Air = MILD_AIR,
): number =>
  (ARCSEC_PER_RADIAN * (refractivity(fromUm, air) - refractivity(toUm, air))) / Math.tan(altitudeDeg * DEG);

/**
 * Refraction in arc seconds at an apparent altitude: A tan z + B tan³ z with A = γ(1-β), B = -γ(β - γ/2), γ = n - 1,
 * β = 4.4474e-6 (273.15 + T), the curvature of the layers (Green 1985, Spherical Astronomy, and Stone 1996 for β).
 * Good to a second above 15°.
 */
export function refractionArcsec(altitudeDeg: number, wavelengthUm: number, air: Air = MILD_AIR): number {
  const gamma = refractivity(wavelengthUm, air);
  const beta = 4.4474e-6 * (273.15 + air.temperatureC);
  const tan = 1 / Math.tan(altitudeDeg * DEG);
  return ARCSEC_PER_RADIAN * (gamma * (1 - beta) * tan - gamma * (beta - gamma / 2) * tan ** 3);
}

/**
 * How fast refraction changes while the sky turns: the largest rate, straight up or down at the equator of the sky,
 * arc seconds per second of time. A mount at sidereal rate lets the star drift by that much (King's rate takes it out).
 */
export function refractionDriftArcsecPerS(altitudeDeg: number, wavelengthUm: number): number {
  const step = 0.01;
  const slope =
    (refractionArcsec(altitudeDeg + step, wavelengthUm) -
      refractionArcsec(altitudeDeg - step, wavelengthUm)) /
    (2 * step * 3600);
  return Math.abs(slope) * 15.0410672;
}
