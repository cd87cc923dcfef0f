import type { Estimate } from '../protocol/report.ts';
import type { SeriesReport, SkyOrientation } from '../protocol/series.ts';
import { SIDEREAL_ARCSEC_PER_S } from '../rig/tracking.ts';

/** What a run with the drive switched off tells: the stars run exactly west at a rate that is known. */
export interface StoppedDrive {
  orientation: SkyOrientation;
  /** Standard error of the directions. */
  directionSigmaDeg: number;
  arcsecPerPx: Estimate;
}

/** The motion must be so many standard errors long to give a direction worth having. */
const LEAST_SIGMAS = 20;
/** A drive that runs drifts slower than this, px a minute; a stopped one passes a pixel within a second or so. */
const LEAST_PX_PER_MIN = 10;

/**
 * Directions and scale from two or more short exposures with the drive off: the field moves west by 15.041 cos δ arc
 * seconds a second (Earth rotation angle, IAU). One motion cannot tell north from south. Looking at the sky with north
 * up, east is left: with the first stored row at the top, north is 90° from east in the sense from +x to +y, else against
 * it. `mirrored` = that sense turned round, by an odd number of mirrors or rows stored the other way. Null when the field
 * hardly moved or the declination is too near the pole.
 */
export function stoppedDrive(
  report: SeriesReport,
  declinationDeg: number,
  mirrored: boolean,
): StoppedDrive | null {
  const { x, y } = report.driftPxPerMin;
  if (!x || !y || Math.abs(declinationDeg) > 85) return null;
  const pxPerMin = Math.hypot(x.value, y.value);
  const sigma = Math.hypot(x.sigma, y.sigma) / Math.SQRT2;
  if (pxPerMin < LEAST_PX_PER_MIN || pxPerMin < LEAST_SIGMAS * sigma) return null;
  const eastDeg = direction(-x.value, -y.value);
  const northDeg = inRange(eastDeg + (mirrored ? -90 : 90));
  const value = (60 * SIDEREAL_ARCSEC_PER_S * Math.cos((declinationDeg * Math.PI) / 180)) / pxPerMin;
  return {
    orientation: { northDeg, eastDeg, source: 'stopped-drive' },
    directionSigmaDeg: ((sigma / pxPerMin) * 180) / Math.PI,
    arcsecPerPx: { value, sigma: (value * sigma) / pxPerMin },
  };
}

const direction = (x: number, y: number): number => inRange((Math.atan2(y, x) * 180) / Math.PI);
/** (-180, 180] */
const inRange = (degrees: number): number => 180 - ((((180 - degrees) % 360) + 360) % 360);
