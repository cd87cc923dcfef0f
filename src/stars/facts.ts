import { flagNames, type StarFlagName } from '../../workers/protocol/flags.ts';
import type { Estimate } from '../../workers/protocol/report.ts';
import type { StarTable } from '../../workers/protocol/stars.ts';
import { axisOf } from './shape.ts';

/** The row of the star table for one star, in the form of the report. */
export interface StarFacts {
  xPx: Estimate;
  yPx: Estimate;
  fluxAdu: number;
  snr: number;
  peakAdu: number;
  backgroundAdu: number;
  fwhmPx: Estimate | null;
  hfdPx: Estimate | null;
  elongation: Estimate | null;
  angleDeg: Estimate | null;
  flags: StarFlagName[];
}

/**
 * Errors of elongation and axis follow from that of the distortion: with e = (A^2 - B^2) / (A^2 + B^2) and
 * A/B = sqrt((1 + e) / (1 - e)), d(A/B)/de = (A/B) / (1 - e^2); the axis turns by half of eSigma / e.
 */
export function starFacts(stars: StarTable, i: number): StarFacts {
  const estimate = (value: number, sigma: number): Estimate | null =>
    Number.isFinite(value) ? { value, sigma } : null;
  const { elongation, angleRad } = axisOf(stars.e1[i], stars.e2[i]);
  const e = Math.hypot(stars.e1[i], stars.e2[i]);
  return {
    xPx: { value: stars.xPx[i], sigma: stars.positionSigmaPx[i] },
    yPx: { value: stars.yPx[i], sigma: stars.positionSigmaPx[i] },
    fluxAdu: stars.fluxAdu[i],
    snr: stars.snr[i],
    peakAdu: stars.peakAdu[i],
    backgroundAdu: stars.backgroundAdu[i],
    fwhmPx: estimate(stars.fwhmPx[i], stars.fwhmSigmaPx[i]),
    hfdPx: estimate(stars.hfdPx[i], stars.hfdSigmaPx[i]),
    elongation: estimate(elongation, (elongation * stars.eSigma[i]) / (1 - e * e)),
    angleDeg: estimate(
      (angleRad * 180) / Math.PI,
      Math.min(90, ((stars.eSigma[i] / (2 * e)) * 180) / Math.PI),
    ),
    flags: flagNames(stars.flags[i]),
  };
}
