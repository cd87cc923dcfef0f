import type { FrameReport } from '../../../workers/protocol/report.ts';
import { halfDiagonalMm, heightOfComaMm } from '../../../workers/rig/coma.ts';
import type { RigSheet } from '../../../workers/rig/sheet.ts';
import { plain, withError } from '../../format/quantity.ts';
import type { Plan } from '../plan.ts';
import { isBareMirror } from './focal-surface.ts';
import { plannedOptics } from './planned.ts';
import { told, type Told } from './told.ts';

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
    source: 'Fit of the whole field of the open frame; errors are standard errors.',
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
      `Round blur is ${withError(blur)} px; usual air would give ${plain(optics.seeingFwhmUm / optics.pixelSizeUm, 2)} px.`,
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
