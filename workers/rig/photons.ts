/**
 * Light of a star of magnitude 0 in V above the air: 1000 photons per second, square centimetre and ångström
 * (Bessell 1979, PASP 91, 589; value from memory, rounded from 995). Over a broad filter this is good to some 20 %.
 */
const ZERO_PHOTONS_S_CM2_NM = 10_000;

export interface Collector {
  apertureMm: number;
  obstruction: number;
  /** Width of the passed band and what of it reaches the sensor and is counted there (glass, mirrors, air, sensor). */
  bandNm: number;
  efficiency: number;
}

/** Electrons per second from a star of this magnitude. */
export function starElectronsPerS(magnitude: number, from: Collector): number {
  const areaCm2 = (Math.PI / 400) * from.apertureMm ** 2 * (1 - from.obstruction ** 2);
  return ZERO_PHOTONS_S_CM2_NM * areaCm2 * from.bandNm * from.efficiency * 10 ** (-0.4 * magnitude);
}

/** Electrons per second and pixel from a surface of this brightness in magnitudes per square arc second. */
export const surfaceElectronsPerS = (magPerArcsec2: number, arcsecPerPx: number, from: Collector): number =>
  starElectronsPerS(magPerArcsec2, from) * arcsecPerPx ** 2;

/**
 * Part of a centred star's light that falls on its brightest pixel: a Gaussian of this FWHM over a unit square,
 * erf(1 / (2 sqrt 2 σ))².
 */
export function centralShare(fwhmPx: number): number {
  const sigma = fwhmPx / (2 * Math.sqrt(2 * Math.log(2)));
  return erf(1 / (2 * Math.SQRT2 * sigma)) ** 2;
}

/** Faintest magnitude whose brightest pixel still fills the well in `exposureS`, sky included. */
export function saturatingMagnitude(
  exposureS: number,
  fullWell: number,
  skyPerS: number,
  fwhmPx: number,
  from: Collector,
): number {
  const roomPerS = fullWell / exposureS - skyPerS;
  return roomPerS > 0
    ? 2.5 * Math.log10((starElectronsPerS(0, from) * centralShare(fwhmPx)) / roomPerS)
    : Infinity;
}

/** Error function by its Maclaurin series (exact to rounding below 3, all that is needed of it) and 1 beyond 5. */
export function erf(x: number): number {
  if (x > 5) return 1;
  let term = x;
  let sum = x;
  for (let n = 1; Math.abs(term) > 1e-17 * Math.abs(sum); n++) {
    term *= (-x * x) / n;
    sum += term / (2 * n + 1);
  }
  return (2 / Math.sqrt(Math.PI)) * sum;
}
