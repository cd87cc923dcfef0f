import type { SeriesReport, SkyOrientation } from '../protocol/series.ts';
import type { StoppedDrive, StoppedFrame, StoppedTold } from '../protocol/stopped-drive.ts';
import { SIDEREAL_ARCSEC_PER_S } from './tracking.ts';

/** The motion must be so many standard errors long to give a direction worth having. */
const LEAST_SIGMAS = 20;
/** A drive that runs drifts slower than this, px a minute; a stopped one passes a pixel within a second or so. */
const LEAST_PX_PER_MIN = 10;
/** Nearer to the pole the stars hardly run. */
const MOST_DECLINATION_DEG = 85;

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
  if (!x || !y || Math.abs(declinationDeg) > MOST_DECLINATION_DEG) return null;
  const pxPerMin = Math.hypot(x.value, y.value);
  const sigma = Math.hypot(x.sigma, y.sigma) / Math.SQRT2;
  if (pxPerMin < LEAST_PX_PER_MIN || pxPerMin < LEAST_SIGMAS * sigma) return null;
  const eastDeg = direction(-x.value, -y.value);
  const northDeg = inRange(eastDeg + (mirrored ? -90 : 90));
  const value = (60 * SIDEREAL_ARCSEC_PER_S * Math.cos((declinationDeg * Math.PI) / 180)) / pxPerMin;
  return {
    orientation: { northDeg, eastDeg, source: 'stopped-drive' },
    directionSigmaDeg: ((sigma / pxPerMin) * 180) / Math.PI,
    northFrom: 'told',
    arcsecPerPx: { value, sigma: (value * sigma) / pxPerMin },
    stoodS: null,
  };
}

/** A bend of so many standard errors, this far from the equator, tells on which side the pole lies. */
const BEND_SIGMAS = 4;
const BENDS_FROM_DEG = 10;

/**
 * The same from one frame that tracked for some seconds and then stood: the trail is the way west, its bright end the
 * east. Its length over the time of running gives the scale; that time is the trail's part of the light. Stars run round
 * the pole, so the side to which the trails bend is north in the northern sky and south in the southern one.
 */
export function driveOfTrails(frame: StoppedFrame, told: StoppedTold): StoppedDrive {
  const { trails } = frame;
  const { mirrored } = told;
  const exposureS = told.exposureS ?? frame.exposureS;
  const declinationDeg = told.declinationDeg ?? frame.declinationDeg;
  const eastDeg = inRange(trails.ranDeg.value + 180);
  const { turnDegPerPx: turn, lengthPx, ranShare } = trails;
  const bends =
    declinationDeg !== null &&
    Math.abs(declinationDeg) > BENDS_FROM_DEG &&
    Math.abs(turn.value) > BEND_SIGMAS * turn.sigma;
  const bent = bends ? turn.value * declinationDeg > 0 : null;
  const northDeg = inRange(eastDeg + ((mirrored ?? bent ?? false) ? -90 : 90));
  const ranS = exposureS === null ? null : exposureS * ranShare.value;
  const scaled = ranS !== null && declinationDeg !== null && Math.abs(declinationDeg) <= MOST_DECLINATION_DEG;
  const value = scaled
    ? (SIDEREAL_ARCSEC_PER_S * Math.cos(declinationDeg * DEG) * ranS) / lengthPx.value
    : NaN;
  return {
    orientation: { northDeg, eastDeg, source: 'stopped-drive' },
    directionSigmaDeg: trails.ranDeg.sigma,
    northFrom: mirrored !== null ? 'told' : bends ? 'bend' : 'assumed',
    arcsecPerPx: scaled
      ? {
          value,
          sigma: value * Math.hypot(lengthPx.sigma / lengthPx.value, ranShare.sigma / ranShare.value),
        }
      : null,
    stoodS:
      exposureS === null
        ? null
        : { value: exposureS * (1 - ranShare.value), sigma: exposureS * ranShare.sigma },
  };
}
const DEG = Math.PI / 180;

const direction = (x: number, y: number): number => inRange((Math.atan2(y, x) * 180) / Math.PI);
/** (-180, 180] */
const inRange = (degrees: number): number => 180 - ((((180 - degrees) % 360) + 360) % 360);

/** The same as it lies on frames from the other side of the pier: the tube has turned round. */
export const onOtherSide = ({ northDeg, eastDeg, source }: SkyOrientation): SkyOrientation => ({
  northDeg: inRange(northDeg + 180),
  eastDeg: inRange(eastDeg + 180),
  source,
});

/** Seconds in which stars at the equator run over a third of a frame's height: long trails that still end within it. */
export function secondsToStand(heightPx: number, arcsecPerPx: number | null): number {
  if (arcsecPerPx === null) return USUAL_SECONDS;
  const third = (heightPx * arcsecPerPx) / (3 * SIDEREAL_ARCSEC_PER_S);
  return Math.min(MOST_SECONDS, Math.max(LEAST_SECONDS, 5 * Math.round(third / 5)));
}
/** Shorter ones are too faint for their bright ends, longer ones collect other stars. */
const [LEAST_SECONDS, USUAL_SECONDS, MOST_SECONDS] = [15, 20, 40];
