import type { Estimate } from '../protocol/report.ts';
import type {
  PolarError,
  SeriesRecord,
  SeriesReport,
  SkyOrientation,
  SkyTracking,
  TrackOptions,
} from '../protocol/series.ts';
import { hourAngleOf, polarCombination, refractionDecDrift } from '../rig/polar-axis.ts';

const DEG = Math.PI / 180;

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
    midTimeMs,
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
    refractionArcsecPerMin: refractionDecDrift(place),
  };
}
