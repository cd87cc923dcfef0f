import type { MeanStar } from '../../../workers/protocol/api.ts';
import type { FrameReport, Region } from '../../../workers/protocol/report.ts';
import { halfDiagonalMm, heightOfComaMm } from '../../../workers/rig/coma.ts';
import {
  halfPeakWidthPx,
  matchedElongation,
  plannedStar,
  type PlannedOptics,
} from '../../../workers/rig/planned-star.ts';
import type { RigSheet } from '../../../workers/rig/sheet.ts';
import { plain, withError } from '../../format/quantity.ts';
import type { Plan } from '../plan.ts';
import { isBareMirror } from './focal-surface.ts';
import { plannedOptics } from './optics.ts';
import { told, type Told } from './told.ts';

const SAMPLES_PER_PX = 3;

/** The nine cells of the sensor with the star that the rig should make in the middle of each, and its numbers. */
export function plannedCells(
  optics: PlannedOptics,
  widthMm: number,
  heightMm: number,
): { stars: MeanStar[]; regions: Region[] } {
  const stars: MeanStar[] = [];
  const regions: Region[] = [];
  const side = pictureSide(optics, widthMm, heightMm);
  for (let row = 0; row < 3; row++)
    for (let col = 0; col < 3; col++) {
      const place = { col, row, cols: 3, rows: 3, stars: 1 };
      const values = plannedStar(
        optics,
        ((col - 1) / 3) * widthMm,
        ((row - 1) / 3) * heightMm,
        side,
        SAMPLES_PER_PX,
      );
      const exact = (value: number) => ({ value, sigma: 0 });
      stars.push({ ...place, side, samplesPerPx: SAMPLES_PER_PX, values });
      regions.push({
        ...place,
        fwhmPx: exact(halfPeakWidthPx(values, SAMPLES_PER_PX)),
        hfdPx: null,
        elongation: exact(matchedElongation(values)),
        angleDeg: null,
      });
    }
  return { stars, regions };
}

/** Odd number of samples that holds the spot of the outer cells and three widths of air; at most 101. */
function pictureSide(optics: PlannedOptics, widthMm: number, heightMm: number): number {
  const spotUm = (3000 * Math.hypot(widthMm, heightMm)) / (3 * 16 * optics.focalRatio ** 2);
  const px = (spotUm + 3 * optics.roundFwhmUm) / optics.pixelSizeUm + 3;
  return Math.min(101, 2 * Math.ceil((px * SAMPLES_PER_PX) / 2) + 1);
}

/** Whether the open frame was made with this rig, by its focal length and pixel; null when that cannot be told. */
export function sameRig(sheet: RigSheet, report: FrameReport | null): boolean | null {
  const frame = report?.frame;
  if (!frame?.pixelSizeUm || !sheet.pixelSizeUm || !frame.focalLengthMm || !sheet.focalLengthMm) return null;
  const near = (a: number, b: number) => Math.abs(a / b - 1) < 0.05;
  return near(frame.pixelSizeUm, sheet.pixelSizeUm) && near(frame.focalLengthMm, sheet.focalLengthMm);
}

/** What the fit found against what these optics must show. */
export function expectedAgainstMeasured(sheet: RigSheet, report: FrameReport | null, plan: Plan): Told {
  const what: Told = {
    id: 'measured',
    title: 'Expected against measured',
    says: [],
    missing: [],
    formula:
      'strength 1 = coma of a bare paraboloid of this focal ratio; its node is where the axis meets the sensor',
    source:
      'Fit of the whole field of the open frame; errors are standard errors. Planned stars: rays of third order, one profile for air and diffraction.',
  };
  const same = sameRig(sheet, report);
  if (same === null)
    return {
      ...what,
      says: ['Open a frame that tells its focal length and pixel to hold it against this rig.'],
    };
  if (!same)
    return {
      ...what,
      says: ['The frame that is open was made with other optics or another camera than this rig.'],
    };
  const model = report!.model;
  if (!model)
    return { ...what, says: ['The open frame fits this rig; what its optics do is not worked out yet.'] };
  const says: string[] = [];
  const { strength, centreMm } = model.coma;
  if (strength && isBareMirror(sheet)) {
    const off = Math.abs(strength.value - 1);
    says.push(
      off < 2 * strength.sigma + 0.05
        ? `Coma is ${withError(strength)} of a bare mirror’s: it is the mirror’s own, and no adjustment takes it away.`
        : `Coma is ${withError(strength)} of a bare mirror’s: ${strength.value > 1 ? 'more' : 'less'} than the mirror alone would make.`,
    );
  } else if (strength)
    says.push(`Coma is ${withError(strength)} of what a bare mirror of this focal ratio would have.`);
  if (centreMm?.x && centreMm.y) says.push(nodeSentence(sheet, centreMm.x.value, centreMm.y.value));
  const blur = model.roundBlurFwhmPx;
  const optics = plannedOptics(sheet);
  if (blur && optics)
    says.push(
      `Round blur is ${withError(blur)} px; usual air would give ${plain(optics.roundFwhmUm / optics.pixelSizeUm, 2)} px with diffraction.`,
    );
  if (isBareMirror(sheet) && sheet.pixelSizeUm && sheet.focalLengthMm && sheet.apertureMm)
    says.push(
      `Stars stay round to ${told(plan.comaLimitPx, 'px')} within ${told(heightOfComaMm(plan.comaLimitPx * sheet.pixelSizeUm, sheet.focalLengthMm / sheet.apertureMm), 'mm')} of that node.`,
    );
  return {
    ...what,
    says: says.length ? says : ['The fit of the open frame tells nothing significant of coma.'],
  };
}

/** How far off and which way the axis meets the sensor's plane; rows run downwards as stored. */
function nodeSentence(sheet: RigSheet, xMm: number, yMm: number): string {
  const distance = Math.hypot(xMm, yMm);
  const corner = halfDiagonalMm(sheet.sensorWidthMm ?? 0, sheet.sensorHeightMm ?? 0);
  const sideways = `${plain(Math.abs(xMm), 2)} mm ${xMm < 0 ? 'left' : 'right'}`;
  const upwards = `${plain(Math.abs(yMm), 2)} mm ${yMm < 0 ? 'up' : 'down'}`;
  const where = `${sideways} and ${upwards} of the sensor’s middle, as the frame is stored`;
  if (corner > 0 && distance > corner)
    return `The node of coma lies off the sensor: ${where}. Collimation would bring it back.`;
  return `The node of coma lies ${where}.`;
}
