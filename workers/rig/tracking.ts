import type { Estimate } from '../protocol/report.ts';
import { ARCSEC_PER_RADIAN } from './image-scale.ts';

const DEG = Math.PI / 180;
/** Turn of the sky, arc seconds per second of time (2π · 1.00273781191135448 per day: IAU Earth rotation angle). */
export const SIDEREAL_ARCSEC_PER_S = (1296000 * 1.00273781191135448) / 86400;

/** Trail of a star over a mount that stands still: ω t cos δ, arc seconds. */
export const fixedTrailArcsec = (exposureS: number, declinationDeg: number): number =>
  SIDEREAL_ARCSEC_PER_S * exposureS * Math.cos(declinationDeg * DEG);

/**
 * Drift of a star when the polar axis is off, and turn of the field about the guide star. Northern site; axis too high
 * by `highArcmin` and too far east by `eastArcmin`; hour angle west positive. Rates per minute of time; the declination
 * drift is positive northwards, the rotation from north towards east. Small-angle vector geometry; agrees with the
 * rules of the drift method.
 */
export function polarDrift(
  axis: { highArcmin: number; eastArcmin: number },
  place: { latitudeDeg: number; hourAngleH: number; declinationDeg: number },
): { declinationArcsec: number; rotationArcsec: number; hourAngleArcsec: number } {
  const perMinute = (60 * 60 * SIDEREAL_ARCSEC_PER_S) / ARCSEC_PER_RADIAN; // per arc minute of error
  const hour = place.hourAngleH * 15 * DEG;
  const cosLatitude = Math.cos(place.latitudeDeg * DEG);
  const declination = place.declinationDeg * DEG;
  const { highArcmin: high, eastArcmin: east } = axis;
  const radial = high * Math.cos(hour) - east * cosLatitude * Math.sin(hour);
  return {
    declinationArcsec: -perMinute * (high * Math.sin(hour) + east * cosLatitude * Math.cos(hour)),
    rotationArcsec: (-perMinute * radial) / Math.cos(declination),
    hourAngleArcsec: perMinute * Math.tan(declination) * radial,
  };
}

/** The most that a polar axis off by `errorArcmin` can make a star drift: ω E, arc seconds per second. */
export const worstPolarDriftArcsecPerS = (errorArcmin: number): number =>
  (SIDEREAL_ARCSEC_PER_S * 60 * errorArcmin) / ARCSEC_PER_RADIAN;

/** Worst trail within `exposureS` of a periodic error A sin(2πt/P): 2A sin(πT/P), 2A from half a period on. */
export const periodicTrailArcsec = (amplitude: number, periodS: number, exposureS: number): number =>
  exposureS >= periodS / 2 ? 2 * amplitude : 2 * amplitude * Math.sin((Math.PI * exposureS) / periodS);

/**
 * Longest unguided exposure whose trail stays within `limitArcsec` wherever it starts: periodic error and drift at their
 * worst, added up. Infinite when they never reach the limit.
 */
export function longestUnguidedS(
  limitArcsec: number,
  amplitude: number,
  periodS: number,
  driftArcsecPerS: number,
): number {
  const trail = (t: number) =>
    (amplitude > 0 ? periodicTrailArcsec(amplitude, periodS, t) : 0) + driftArcsecPerS * t;
  let [low, high] = [0, 1];
  while (trail(high) < limitArcsec) {
    high *= 2;
    if (high > 1e6) return Infinity;
  }
  for (let i = 0; i < 60; i++) {
    const middle = (low + high) / 2;
    if (trail(middle) < limitArcsec) low = middle;
    else high = middle;
  }
  return low;
}

/**
 * Turn of the field on an altazimuth mount, arc seconds per second: ω cos φ cos Az / cos alt with the sign of the
 * parallactic angle (Az from north through east). Differentiated from tan q = sin H / (tan φ cos δ - sin δ cos H),
 * Meeus, Astronomical Algorithms, ch. 14.
 */
export const altazRotationArcsecPerS = (
  latitudeDeg: number,
  azimuthDeg: number,
  altitudeDeg: number,
): number =>
  (SIDEREAL_ARCSEC_PER_S * Math.cos(latitudeDeg * DEG) * Math.cos(azimuthDeg * DEG)) /
  Math.cos(altitudeDeg * DEG);

/** Length of a motion from its two parts; one that is next to nothing may go anywhere within its errors. */
export function lengthOf(x: Estimate, y: Estimate): Estimate {
  const value = Math.hypot(x.value, y.value);
  const most = Math.max(x.sigma, y.sigma);
  return {
    value,
    sigma: value > 1e-6 * most ? Math.hypot(x.value * x.sigma, y.value * y.sigma) / value : most,
  };
}
