import type { Estimate } from '../protocol/report.ts';
import { refractionArcsec } from './air.ts';
import { siderealDeg } from './sky-clock.ts';
import { polarDrift } from './tracking.ts';

const DEG = Math.PI / 180;
/** Visual light, in the middle of what cameras take. */
const WAVELENGTH_UM = 0.55;
/** Turn of the sky in a minute of time, degrees: 360.98564736629 a day. */
const SKY_DEG_PER_MIN = 360.98564736629 / 1440;
const LOWEST_DEG = 10;
/** Two fields nearer than an hour (or nearer to twelve than that) blow the errors up by more than four: no answer. */
const LEAST_SINE = Math.sin(15 * DEG);
/** So close to a pole of the Earth there is no azimuth. */
const HIGHEST_LATITUDE_DEG = 89;

/** How fast a field drifted in declination (arc seconds a minute, north positive), and its hour angle, west positive. */
export interface FieldDrift {
  decArcsecPerMin: Estimate;
  hourAngleH: number;
}
/**
 * How far the end of the axis that points at the pole lies too high and too far east, arc minutes; east is an angle of
 * azimuth, by which the mount is turned on its base.
 */
export interface AxisErrors {
  highArcmin: Estimate;
  eastArcmin: Estimate;
}

/**
 * high sin H + east cos(latitude) cos H in arc minutes, from the declination drift: the drift is -0.26252 of it on a
 * northern site (`polarDrift`, small-angle geometry). South of the equator the mount points at the other pole, whose
 * raising lowers this one, and whose move to the east is one of this one to the west: the sign turns.
 */
export function polarCombination(decArcsecPerMin: Estimate, latitudeDeg: number): Estimate {
  const perArcmin = polarDrift(
    { highArcmin: 1, eastArcmin: 0 },
    { latitudeDeg: 0, hourAngleH: 6, declinationDeg: 0 },
  ).declinationArcsec;
  const factor = (latitudeDeg < 0 ? -1 : 1) / perArcmin;
  return { value: factor * decArcsecPerMin.value, sigma: Math.abs(factor) * decArcsecPerMin.sigma };
}

/** By how much the errors of the axis exceed those of fields six hours apart: 1 / |sin(difference of hour angles)|. */
export const growthOfErrors = (a: FieldDrift, b: FieldDrift): number =>
  1 / Math.abs(Math.sin((a.hourAngleH - b.hourAngleH) * 15 * DEG));

/**
 * Both errors of the axis from the drifts of two fields at one site, the mount's base not touched in between. Null when
 * their hour angles are within an hour of each other or of twelve hours apart: then one direction stays unseen.
 */
export function axisFromTwo(a: FieldDrift, b: FieldDrift, latitudeDeg: number): AxisErrors | null {
  if (Math.abs(latitudeDeg) > HIGHEST_LATITUDE_DEG || growthOfErrors(a, b) > 1 / LEAST_SINE) return null;
  const row = ({ hourAngleH }: FieldDrift) => [
    Math.sin(hourAngleH * 15 * DEG),
    Math.cos(latitudeDeg * DEG) * Math.cos(hourAngleH * 15 * DEG),
  ];
  const [[p, q], [r, s]] = [row(a), row(b)];
  const determinant = p * s - q * r;
  const [first, second] = [a, b].map(({ decArcsecPerMin }) => polarCombination(decArcsecPerMin, latitudeDeg));
  const solve = (u: number, v: number): Estimate => ({
    value: (u * first.value + v * second.value) / determinant,
    sigma: Math.hypot(u * first.sigma, v * second.sigma) / Math.abs(determinant),
  });
  return { highArcmin: solve(s, -q), eastArcmin: solve(-r, p) };
}

/** Hours, west positive, (-12, 12]. */
export function hourAngleOf(timeMs: number, longitudeDeg: number, rightAscensionDeg: number): number {
  const hours = (siderealDeg(timeMs, longitudeDeg) - rightAscensionDeg) / 15;
  return 12 - ((((12 - hours) % 24) + 24) % 24);
}

/**
 * Declination drift that refraction alone gives while the mount turns evenly, arc seconds a minute: change of
 * R cos q, R the refraction and q the angle at the star between north and zenith, tan q = sin H / (tan φ cos δ -
 * sin δ cos H) (Meeus ch. 14). Null close to the horizon.
 */
export function refractionDecDrift(place: {
  latitudeDeg: number;
  hourAngleH: number;
  declinationDeg: number;
}): number | null {
  const at = (minutes: number): number | null => {
    const hour = place.hourAngleH * 15 * DEG + minutes * SKY_DEG_PER_MIN * DEG;
    const [phi, delta] = [place.latitudeDeg * DEG, place.declinationDeg * DEG];
    const sinAltitude = Math.sin(phi) * Math.sin(delta) + Math.cos(phi) * Math.cos(delta) * Math.cos(hour);
    const altitudeDeg = Math.asin(Math.min(1, Math.max(-1, sinAltitude))) / DEG;
    if (altitudeDeg < LOWEST_DEG) return null;
    const cosQ =
      (Math.sin(phi) * Math.cos(delta) - Math.sin(delta) * Math.cos(phi) * Math.cos(hour)) /
      Math.max(Math.cos(altitudeDeg * DEG), 1e-9);
    return refractionArcsec(Math.min(altitudeDeg, 89.999), WAVELENGTH_UM) * cosQ;
  };
  const [before, after] = [at(-0.5), at(0.5)];
  return before === null || after === null ? null : after - before;
}
