import type { MeanStar } from '../../../workers/protocol/api.ts';
import type { Region } from '../../../workers/protocol/report.ts';
import { arcsecToUm } from '../../../workers/rig/image-scale.ts';
import {
  halfPeakWidthPx,
  matchedElongation,
  plannedStar,
  type PlannedOptics,
} from '../../../workers/rig/planned-star.ts';
import type { RigSheet } from '../../../workers/rig/sheet.ts';
import { isBareMirror } from './focal-surface.ts';

/** The sheet as a planned star wants it; null while something is not told or the optics have no law. */
export function plannedOptics(sheet: RigSheet): PlannedOptics | null {
  const { apertureMm, focalLengthMm, pixelSizeUm, usualSeeingArcsec } = sheet;
  if (!isBareMirror(sheet) || !apertureMm || !focalLengthMm || !pixelSizeUm || !usualSeeingArcsec)
    return null;
  return {
    focalLengthMm,
    focalRatio: focalLengthMm / apertureMm,
    obstruction: sheet.obstruction ?? 0,
    seeingFwhmUm: arcsecToUm(usualSeeingArcsec, focalLengthMm),
    pixelSizeUm,
  };
}

export interface PlannedCells {
  stars: MeanStar[];
  regions: Region[];
}

const SAMPLES_PER_PX = 3;
let last: { key: string; cells: PlannedCells } | null = null;

/**
 * The nine cells of the sensor with the star that the rig should make in the middle of each, and its numbers; null while
 * something is not told. Takes a tenth of a second, so the newest answer is kept for whoever asks next.
 */
export function plannedCells(sheet: RigSheet): PlannedCells | null {
  const optics = plannedOptics(sheet);
  const { sensorWidthMm, sensorHeightMm } = sheet;
  if (!optics || !sensorWidthMm || !sensorHeightMm) return null;
  const key = JSON.stringify([optics, sensorWidthMm, sensorHeightMm]);
  if (last?.key !== key) last = { key, cells: drawCells(optics, sensorWidthMm, sensorHeightMm) };
  return last.cells;
}

/** One quarter is drawn, the others are its mirror pictures. */
function drawCells(optics: PlannedOptics, widthMm: number, heightMm: number): PlannedCells {
  const side = pictureSide(optics, widthMm, heightMm);
  const quarter = [0, 1].map((row) =>
    [0, 1].map((col) => {
      const values = plannedStar(optics, (col / 3) * widthMm, (row / 3) * heightMm, side, SAMPLES_PER_PX);
      const exact = (value: number) => ({ value, sigma: 0 });
      return {
        values,
        fwhmPx: exact(halfPeakWidthPx(values, SAMPLES_PER_PX)),
        elongation: exact(matchedElongation(values)),
      };
    }),
  );
  const cells: PlannedCells = { stars: [], regions: [] };
  for (let row = 0; row < 3; row++)
    for (let col = 0; col < 3; col++) {
      const place = { col, row, cols: 3, rows: 3, stars: 1 };
      const { values, fwhmPx, elongation } = quarter[Math.abs(row - 1)][Math.abs(col - 1)];
      const turned = mirrored(values, side, col === 0, row === 0);
      cells.stars.push({
        ...place,
        side,
        samplesPerPx: SAMPLES_PER_PX,
        values: turned,
        placesPx: new Float32Array(),
      });
      cells.regions.push({ ...place, fwhmPx, elongation, hfdPx: null, angleDeg: null });
    }
  return cells;
}

function mirrored(values: Float32Array, side: number, leftRight: boolean, upDown: boolean): Float32Array {
  return values.map((_, i) => {
    const [col, row] = [i % side, Math.floor(i / side)];
    return values[(upDown ? side - 1 - row : row) * side + (leftRight ? side - 1 - col : col)];
  });
}

/** Odd number of samples that holds the spot of the outer cells and three widths of air; at most 101. */
function pictureSide(optics: PlannedOptics, widthMm: number, heightMm: number): number {
  const spotUm = (3000 * Math.hypot(widthMm, heightMm)) / (3 * 16 * optics.focalRatio ** 2);
  const px = (spotUm + 3 * optics.seeingFwhmUm) / optics.pixelSizeUm + 3;
  return Math.min(101, 2 * Math.ceil((px * SAMPLES_PER_PX) / 2) + 1);
}
