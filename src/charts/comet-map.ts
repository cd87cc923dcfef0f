import { clipped, drawFieldFrame, drawOutline, keyOf, type FieldSize } from './field-frame.ts';
import type { FieldMapOptions } from './elongation-map.ts';
import type { CometCell } from '../stars/comet-cells.ts';
import type { RoundMark } from '../stars/round-mark.ts';
import { drawRoundCircle } from './round-circle.ts';

/** Asymmetry at which a tail fills its cell, unless a larger one sets the scale. */
const FULL = 0.25;
/** A map of many cells shows a chance comet more often than a single number: three standard errors. */
const SIGNIFICANT = 3;
const HEAD = 3.5;

/**
 * A comet per cell: the head sits where the mean star is, the tail points where its light is dragged to and is as long
 * as the third moment is large. Cells without significant asymmetry get a ring. `largest` is an asymmetry that another
 * map on the same scale holds. Returns the key's value and length.
 */
export function drawCometMap(
  element: SVGSVGElement,
  data: FieldSize & {
    cells: CometCell[];
    cols: number;
    rows: number;
    largest?: number;
    circle: RoundMark | null;
  },
  options: FieldMapOptions,
): { value: number; lengthPx: number } {
  const frame = drawFieldFrame(element, data, options);
  const inside = clipped(frame);
  const room = 0.85 * Math.min(frame.width / data.cols, frame.height / data.rows);
  const perUnit = room / Math.max(FULL, data.largest ?? 0, ...data.cells.map(cometSize));
  for (const cell of data.cells) {
    const cx = ((cell.col + 0.5) / data.cols) * frame.width;
    const cy = ((cell.row + 0.5) / data.rows) * frame.height;
    const size = cometSize(cell);
    if (size <= SIGNIFICANT * cell.sigma) {
      inside.append('circle').attr('class', 'whisker-round').attr('cx', cx).attr('cy', cy).attr('r', 4);
      continue;
    }
    const length = perUnit * size;
    const angleDeg = (Math.atan2(cell.y, cell.x) * 180) / Math.PI;
    inside
      .append('path')
      .attr('class', 'comet')
      .attr('d', cometPath(length))
      .attr('transform', `translate(${cx},${cy}) rotate(${angleDeg}) translate(${-length / 2},0)`);
  }
  if (data.circle) drawRoundCircle(inside, frame, data.circle);
  drawOutline(frame);
  return keyOf(perUnit);
}

export const cometSize = ({ x, y }: Pick<CometCell, 'x' | 'y'>): number => Math.hypot(x, y);

/** A round head at the origin whose tail runs to a point at (length, 0). */
export function cometPath(length: number): string {
  const head = Math.min(HEAD, length / 4);
  return `M0,${-head}A${head},${head} 0 1 0 0,${head}L${length},0Z`;
}
