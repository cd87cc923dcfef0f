import type { StarTable } from '../../workers/protocol/stars.ts';
import { axisOf } from '../stars/shape.ts';
import { NOT_FOR_SHAPE } from '../../workers/protocol/flags.ts';
import type { Region } from '../../workers/protocol/report.ts';
import { clipped, drawFieldFrame, drawOutline, keyOf, type FieldSize } from './field-frame.ts';

export interface FieldMapOptions {
  availableWidth: number;
  maxHeight: number;
  sizeText: string;
  label: string;
}

/** What a whisker needs of a cell. */
export type LeanCell = Pick<Region, 'col' | 'row' | 'cols' | 'rows' | 'elongation' | 'angleDeg'>;

/** A whisker fills its cell at this much more length than width, or at the largest one if that is more. */
const FULL_EXCESS = 0.2;
const SIGNIFICANT = 2;

/**
 * One whisker per cell along the long axis of its mean star, as long as the star is longer than wide; thin ones for
 * single stars. A cell whose elongation is within two standard errors of round gets a ring. `largest` is an excess
 * (elongation - 1) that another map on the same scale holds. Returns the excess and drawn length of the key's whisker.
 */
export function drawElongationMap(
  element: SVGSVGElement,
  data: FieldSize & { regions: LeanCell[]; stars: StarTable | null; largest?: number },
  options: FieldMapOptions,
): { value: number; lengthPx: number } {
  const frame = drawFieldFrame(element, data, options);
  const inside = clipped(frame);
  const cells = data.regions.filter((region) => region.elongation && region.angleDeg);
  const cols = cells[0]?.cols ?? 3;
  const rows = cells[0]?.rows ?? 3;
  const room = 0.92 * Math.min(frame.width / cols, frame.height / rows);
  const largest = Math.max(
    FULL_EXCESS,
    data.largest ?? 0,
    ...cells.map((region) => region.elongation!.value - 1),
  );
  const perExcess = room / largest;

  const { stars } = data;
  let thin = '';
  for (let i = 0; stars && i < stars.count; i++) {
    if (stars.flags[i] & NOT_FOR_SHAPE || !Number.isFinite(stars.e1[i])) continue;
    const shape = axisOf(stars.e1[i], stars.e2[i]);
    const half = Math.min(room, perExcess * (shape.elongation - 1)) / 2;
    thin += whisker(frame.x(stars.xPx[i]), frame.y(stars.yPx[i]), shape.angleRad, half);
  }
  inside.append('path').attr('class', 'whisker-star').attr('d', thin);

  for (const region of cells) {
    const cx = ((region.col + 0.5) / cols) * frame.width;
    const cy = ((region.row + 0.5) / rows) * frame.height;
    const { value, sigma } = region.elongation!;
    if (value - 1 <= SIGNIFICANT * sigma) {
      inside.append('circle').attr('class', 'whisker-round').attr('cx', cx).attr('cy', cy).attr('r', 4);
      continue;
    }
    const angleRad = (region.angleDeg!.value * Math.PI) / 180;
    inside
      .append('path')
      .attr('class', 'whisker')
      .attr('d', whisker(cx, cy, angleRad, (perExcess * (value - 1)) / 2));
  }
  drawOutline(frame);
  return keyOf(perExcess);
}

/** A line through (x, y), `half` to either side. */
export function whisker(x: number, y: number, angleRad: number, half: number): string {
  const dx = half * Math.cos(angleRad);
  const dy = half * Math.sin(angleRad);
  return `M${(x - dx).toFixed(1)},${(y - dy).toFixed(1)}L${(x + dx).toFixed(1)},${(y + dy).toFixed(1)}`;
}
