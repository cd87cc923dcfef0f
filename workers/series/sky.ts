import type { Estimate } from '../protocol/report.ts';
import type {
  PolarError,
  SeriesRecord,
  SeriesReport,
  SkyOrientation,
  SkyTracking,
  TrackOptions,
} from '../protocol/series.ts';
import { polarDrift } from '../rig/tracking.ts';
import { refractionArcsec } from '../rig/air.ts';
import { siderealDeg } from '../rig/sky-clock.ts';

const DEG = Math.PI / 180;
/** Visual light, in the middle of what cameras take. */
const WAVELENGTH_UM = 0.55;
/** Turn of the sky in a minute of time, degrees: 360.98564736629 a day. */
const SKY_DEG_PER_MIN = 360.98564736629 / 1440;
const LOWEST_DEG = 10;

/**
 * Right ascension and declination apart, and what the declination drift says of the polar axis. Null while orientation
 * or scale are unknown. `first` is the first used frame: drift and orientation are in its axes.
 */
export function skyTracking(
  report: SeriesReport,
  first: SeriesRecord,
  midTimeMs: number | null,
  options: TrackOptions,
): SkyTracking | null {
  const { pointing } = first.meta;
  const orientation = options.orientation ?? orientationOf(first);
  const arcsecPerPx = options.arcsecPerPx ?? pointing?.arcsecPerPx ?? first.report.frame?.arcsecPerPx ?? null;
  const { x, y } = report.driftPxPerMin;
  if (!orientation || arcsecPerPx === null || !x || !y) return null;
  const scaleShare = (options.arcsecPerPxSigma ?? 0) / arcsecPerPx;
  const turnRad = (options.orientationSigmaDeg ?? 0) * DEG;
  const along = (angleDeg: number): Estimate => {
    const [c, s] = [Math.cos(angleDeg * DEG), Math.sin(angleDeg * DEG)];
    const [rate, across] = [c * x.value + s * y.value, c * y.value - s * x.value];
    return {
      value: arcsecPerPx * rate,
      sigma: arcsecPerPx * Math.hypot(c * x.sigma, s * y.sigma, rate * scaleShare, across * turnRad),
    };
  };
  const { periodic } = report;
  const towardsEast = periodic
    ? Math.abs(Math.cos((periodic.angleDeg.value - orientation.eastDeg) * DEG))
    : 0;
  const decArcsecPerMin = along(orientation.northDeg);
  return {
    orientation,
    arcsecPerPx,
    raArcsecPerMin: along(orientation.eastDeg),
    decArcsecPerMin,
    periodicRaArcsec: periodic && {
      value: arcsecPerPx * towardsEast * periodic.amplitudePx.value,
      sigma:
        arcsecPerPx *
        towardsEast *
        Math.hypot(periodic.amplitudePx.sigma, scaleShare * periodic.amplitudePx.value),
    },
    polar: polarOf(first, midTimeMs, decArcsecPerMin, options),
  };
}

function orientationOf({ meta: { pointing } }: SeriesRecord): SkyOrientation | null {
  if (!pointing || pointing.northDeg === null || pointing.eastDeg === null) return null;
  if (pointing.orientationFrom === null) return null;
  return { northDeg: pointing.northDeg, eastDeg: pointing.eastDeg, source: pointing.orientationFrom };
}

function polarOf(
  { meta: { pointing } }: SeriesRecord,
  midTimeMs: number | null,
  dec: Estimate,
  options: TrackOptions,
): PolarError | null {
  const latitudeDeg = options.latitudeDeg ?? pointing?.latitudeDeg ?? null;
  const longitudeDeg = options.longitudeDeg ?? pointing?.longitudeDeg ?? null;
  const { rightAscensionDeg = null, declinationDeg = null } = pointing ?? {};
  if (latitudeDeg === null || longitudeDeg === null || midTimeMs === null) return null;
  if (rightAscensionDeg === null || declinationDeg === null) return null;
  const hourAngleH = hourAngleOf(midTimeMs, longitudeDeg, rightAscensionDeg);
  const place = { latitudeDeg, hourAngleH, declinationDeg };
  return {
    ...place,
    combinationArcmin: polarCombination(dec, latitudeDeg),
    highArcmin: null,
    eastArcmin: null,
    refractionArcsecPerMin: refractionDecDrift(place),
  };
}

/**
 * high sin H + east cos(latitude) cos H in arc minutes, from the declination drift (arc seconds a minute, north
 * positive): the drift is -0.26252 of it on a northern site (`polarDrift`, small-angle geometry). South of the equator
 * the mount points at the other pole, whose raising lowers this one: the sign turns.
 */
export function polarCombination(dec: Estimate, latitudeDeg: number): Estimate {
  const perArcmin = polarDrift(
    { highArcmin: 1, eastArcmin: 0 },
    { latitudeDeg: 0, hourAngleH: 6, declinationDeg: 0 },
  ).declinationArcsec;
  const factor = (latitudeDeg < 0 ? -1 : 1) / perArcmin;
  return { value: factor * dec.value, sigma: Math.abs(factor) * dec.sigma };
}

/**
 * Both errors from the combinations of two fields of one night at one site. Null when their hour angles are too close
 * to twelve hours or to each other: then one direction stays unseen.
 */
export function polarFromTwo(
  a: PolarError,
  b: PolarError,
): { highArcmin: Estimate; eastArcmin: Estimate } | null {
  const row = ({ hourAngleH, latitudeDeg }: PolarError) => [
    Math.sin(hourAngleH * 15 * DEG),
    Math.cos(latitudeDeg * DEG) * Math.cos(hourAngleH * 15 * DEG),
  ];
  const [[p, q], [r, s]] = [row(a), row(b)];
  const determinant = p * s - q * r;
  if (Math.abs(determinant) < 0.25 * Math.cos(a.latitudeDeg * DEG)) return null;
  const solve = (u: number, v: number): Estimate => ({
    value: (u * a.combinationArcmin.value + v * b.combinationArcmin.value) / determinant,
    sigma: Math.hypot(u * a.combinationArcmin.sigma, v * b.combinationArcmin.sigma) / Math.abs(determinant),
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
