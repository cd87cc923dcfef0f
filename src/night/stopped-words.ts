import type { Estimate } from '../../workers/protocol/report.ts';
import type { StoppedDrive, StoppedFrame, StoppedTold } from '../../workers/protocol/stopped-drive.ts';
import { wayOnPicture } from '../../workers/rig/way-on-picture.ts';
import { decimalsFor, plain, withError } from '../format/quantity.ts';

const DEG = Math.PI / 180;
const way = (degrees: number): string => wayOnPicture(Math.cos(degrees * DEG), Math.sin(degrees * DEG));

const NORTH: Record<StoppedDrive['northFrom'], string> = {
  told: '',
  bend: ' The bend of the trails tells north from south.',
  assumed: ' North and south are changed over if the picture is a mirror image: say so below.',
};

/** Where the sky's directions lie, in one sentence or two. */
export function directionsText({ orientation, northFrom }: StoppedDrive): string {
  return `East is ${way(orientation.eastDeg)} on the picture, north ${way(orientation.northDeg)}.${NORTH[northFrom]}`;
}

/** From a difference of a twentieth that three standard errors do not explain, somebody told something wrong. */
const AGREES = { share: 0.05, sigmas: 3 };

/** The scale, or what it still needs; `fileArcsecPerPx`: what focal length and pixel size make it. */
export function scaleText(
  { arcsecPerPx, stoodS }: StoppedDrive,
  frame: StoppedFrame,
  told: StoppedTold,
  fileArcsecPerPx: number | null,
): string {
  const stood = stoodS ? ` The mount tracked for ${secondsText(stoodS)} before it stood.` : '';
  if (arcsecPerPx === null) return `${missingText(frame, told)}${stood}`;
  const says = `One pixel is ${withError(arcsecPerPx)}″.${stood}`;
  if (fileArcsecPerPx === null) return says;
  const off = Math.abs(arcsecPerPx.value - fileArcsecPerPx);
  const agrees = off < AGREES.share * fileArcsecPerPx || off < AGREES.sigmas * arcsecPerPx.sigma;
  const nominal = plain(fileArcsecPerPx, Math.max(2, decimalsFor(arcsecPerPx.sigma)));
  return agrees
    ? `${says} Focal length and pixel size make it ${nominal}″: that agrees.`
    : `${says} Focal length and pixel size make it ${nominal}″: one of them, the declination or the exposure is not right.`;
}

function missingText(frame: StoppedFrame, told: StoppedTold): string {
  const lacks = [
    (told.declinationDeg ?? frame.declinationDeg) === null && 'declination',
    (told.exposureS ?? frame.exposureS) === null && 'exposure',
  ].filter(Boolean);
  if (lacks.length === 0)
    return 'So near the pole the stars hardly run: for the scale take a frame nearer to the equator.';
  return `For the scale the ${lacks.join(' and the ')} of this frame ${lacks.length > 1 ? 'are' : 'is'} needed: give ${lacks.length > 1 ? 'them' : 'it'} below.`;
}

const secondsText = (seconds: Estimate): string =>
  `${plain(Math.max(0, seconds.value), Math.max(0, Math.min(1, decimalsFor(seconds.sigma))))} s`;
