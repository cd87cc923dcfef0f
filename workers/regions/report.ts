import { FLAG, flagNames } from '../protocol/flags.ts';
import type { Fault } from '../protocol/faults.ts';
import type { Frame } from '../protocol/frame.ts';
import type { FrameFacts, FrameReport, ListedStar } from '../protocol/report.ts';
import { arcsecPerPx, type Rig } from '../protocol/rig.ts';
import type { StarTable } from '../protocol/stars.ts';
import { gainSentence, type GainTold } from './gain-words.ts';
import { gridRegions, shapeStars, summarise } from './grid.ts';

export interface ReportInput {
  file: string;
  frame: Frame;
  /** What the user said; it overrides the header. */
  rig: Partial<Rig>;
  stars: StarTable;
  /** Why the frame is no star field: covered with structure, or a regular grid of spots. */
  noField: 'covered' | 'grid' | null;
  /** Satellite trails that were left out. */
  trails: number;
  /** What the frame's noise tells of the gain where the file says nothing; null where it does. */
  gainTold: GainTold | null;
}

/** Fewer stars than this say nothing of a sensor's corners. */
export const FEWEST_STARS = 5;

/** The report of one frame without the fit: facts, counts, the sensor's mean and its nine cells. */
export function buildReport(input: ReportInput): FrameReport {
  const { file, frame, stars } = input;
  const shaped = shapeStars(stars);
  return {
    format: 1,
    file,
    fault: faultOf(input, shaped.length),
    warnings: [...frame.warnings, ...warningsOf(input, shaped.length)],
    frame: frameFacts(frame, input.rig),
    stars: {
      detected: stars.count,
      measured: shaped.length,
      saturated: stars.flags.reduce((count, flags) => count + (flags & FLAG.saturated ? 1 : 0), 0),
    },
    sensor: summarise(stars, shaped),
    regions: gridRegions(stars, frame.widthPx, frame.heightPx, 3, 3),
    model: null,
    budget: null,
    causes: null,
    verdict: null,
  };
}

function frameFacts({ meta, widthPx, heightPx, mosaic }: Frame, rig: Partial<Rig>): FrameFacts {
  const pixelSizeUm = rig.pixelSizeUm ?? meta.pixelSizeUm;
  const focalLengthMm = rig.focalLengthMm ?? meta.focalLengthMm;
  return {
    widthPx,
    heightPx,
    mosaic: mosaic ? mosaic.pattern.join('') : null,
    exposureS: meta.exposureS,
    pixelSizeUm,
    focalLengthMm,
    apertureMm: rig.apertureMm ?? meta.apertureMm,
    obstruction: rig.obstruction ?? meta.obstruction,
    arcsecPerPx: arcsecPerPx({ focalLengthMm, pixelSizeUm }),
  };
}

function faultOf({ noField, stars }: ReportInput, shaped: number): Fault | null {
  if (noField === 'covered')
    return {
      code: 'not-a-star-field',
      message:
        'The frame is covered with structure, so no stars can be told apart: cloud, twilight, or a very short focus. Wait for a clear sky, or expose for less time.',
    };
  if (noField === 'grid')
    return {
      code: 'not-a-star-field',
      message:
        'The spots stand in a regular grid, as in the test pattern of an instrument: this is no star field. Take a frame of the sky.',
    };
  if (shaped >= FEWEST_STARS) return null;
  const found = ['No star was', 'Only 1 star was'][stars.count] ?? `Only ${stars.count} stars were`;
  const usable = shaped === stars.count ? '' : `, of which ${shaped === 0 ? 'none' : shaped} can be used`;
  return {
    code: 'too-few-stars',
    message: `${found} found${usable}; at least ${FEWEST_STARS} are needed to compare centre and corners. Expose longer, refocus roughly, or point at a richer field.`,
  };
}

function warningsOf({ frame, stars, gainTold, trails }: ReportInput, shaped: number): string[] {
  const warnings: string[] = [];
  if (frame.planes === 3)
    warnings.push('This is a colour picture, not a raw frame: stars were measured on its green plane.');
  if (gainTold && shaped > 0) warnings.push(gainSentence(gainTold));
  if (trails > 0) warnings.push('A satellite or an aeroplane crossed the frame; its trail was left out.');
  const count = (bit: number) => stars.flags.reduce((sum, flags) => sum + (flags & bit ? 1 : 0), 0);
  const narrow = count(FLAG.undersampled);
  if (shaped > 0 && narrow > shaped / 2)
    warnings.push(
      'Most stars are narrower than 1.6 px: the pixels are too coarse to tell their shape well. Differences between centre and corners still count.',
    );
  if (count(FLAG.saturated) > shaped && shaped > 0)
    warnings.push('More stars are saturated than usable: a shorter exposure would show their shapes.');
  return warnings;
}

/** The rows of the report's star list. */
export function listStars(stars: StarTable): ListedStar[] {
  const number = (value: number) => (Number.isFinite(value) ? value : null);
  return Array.from({ length: stars.count }, (_, i) => {
    const e = Math.hypot(stars.e1[i], stars.e2[i]);
    return {
      xPx: stars.xPx[i],
      yPx: stars.yPx[i],
      fluxAdu: stars.fluxAdu[i],
      snr: stars.snr[i],
      fwhmPx: number(stars.fwhmPx[i]),
      hfdPx: number(stars.hfdPx[i]),
      elongation: number(Math.sqrt((1 + e) / (1 - e))),
      angleDeg: number((Math.atan2(stars.e2[i], stars.e1[i]) * 90) / Math.PI),
      flags: flagNames(stars.flags[i]),
    };
  });
}
