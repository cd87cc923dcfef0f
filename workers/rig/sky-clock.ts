const DEG = Math.PI / 180;
const DAY_MS = 86_400_000;
/** 2000 January 1, 12 h, milliseconds since 1970. */
const J2000_MS = Date.UTC(2000, 0, 1, 12);
/** Centre of the Sun when its upper limb stands on a flat horizon: 34' of refraction, 16' of radius (Meeus, ch. 15). */
export const SUNRISE_DEG = -0.8333;
/** Below this the Sun lights the sky no more: astronomical twilight. */
export const DARK_DEG = -18;

export interface Site {
  latitudeDeg: number;
  /** East positive. */
  longitudeDeg: number;
}

const daysSinceJ2000 = (timeMs: number): number => (timeMs - J2000_MS) / DAY_MS;

/**
 * Sidereal time at a longitude, degrees: 280.46061837 + 360.98564736629 d (Meeus 1998, Astronomical Algorithms, 12.4,
 * without its terms in T², which stay below 0.001° in this century).
 */
export const siderealDeg = (timeMs: number, longitudeDeg: number): number =>
  (280.46061837 + 360.98564736629 * daysSinceJ2000(timeMs) + longitudeDeg) % 360;

/** Altitude of a place of the sky without refraction, degrees: sin h = sin φ sin δ + cos φ cos δ cos H (Meeus 13.6). */
export function altitudeDeg(
  rightAscensionDeg: number,
  declinationDeg: number,
  site: Site,
  timeMs: number,
): number {
  const hour = (siderealDeg(timeMs, site.longitudeDeg) - rightAscensionDeg) * DEG;
  const [latitude, declination] = [site.latitudeDeg * DEG, declinationDeg * DEG];
  const sine =
    Math.sin(latitude) * Math.sin(declination) + Math.cos(latitude) * Math.cos(declination) * Math.cos(hour);
  return Math.asin(Math.max(-1, Math.min(1, sine))) / DEG;
}

/**
 * Where the Sun stands, equator of date, degrees: the low-precision formula of the Astronomical Almanac (page C5), good
 * to 0.01° from 1950 to 2050.
 */
export function sunPlace(timeMs: number): { rightAscensionDeg: number; declinationDeg: number } {
  const n = daysSinceJ2000(timeMs);
  const anomaly = (357.528 + 0.9856003 * n) * DEG;
  const longitude = (280.46 + 0.9856474 * n + 1.915 * Math.sin(anomaly) + 0.02 * Math.sin(2 * anomaly)) * DEG;
  const tilt = (23.439 - 0.0000004 * n) * DEG;
  return {
    rightAscensionDeg: Math.atan2(Math.cos(tilt) * Math.sin(longitude), Math.cos(longitude)) / DEG,
    declinationDeg: Math.asin(Math.sin(tilt) * Math.sin(longitude)) / DEG,
  };
}

export function sunAltitudeDeg(site: Site, timeMs: number): number {
  const { rightAscensionDeg, declinationDeg } = sunPlace(timeMs);
  return altitudeDeg(rightAscensionDeg, declinationDeg, site, timeMs);
}

/**
 * When the Sun's upper limb next comes over a flat horizon, milliseconds since 1970; null when it does not within a day
 * (polar night, or it does not set). Mountains let it come later, never a high place: there it comes some minutes
 * earlier.
 */
export function nextSunriseMs(site: Site, fromMs: number): number | null {
  const step = 5 * 60_000;
  const height = (timeMs: number) => sunAltitudeDeg(site, timeMs) - SUNRISE_DEG;
  for (let at = fromMs; at < fromMs + DAY_MS; at += step) {
    if (!(height(at) < 0 && height(at + step) >= 0)) continue;
    let [below, above] = [at, at + step];
    while (above - below > 1000) {
      const middle = (below + above) / 2;
      if (height(middle) < 0) below = middle;
      else above = middle;
    }
    return above;
  }
  return null;
}
