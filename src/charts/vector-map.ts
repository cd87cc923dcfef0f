import { clipped, drawFieldFrame, drawOutline, type FieldSize } from './field-frame.ts';
import { cometPath } from './comet-map.ts';
import { whisker, type FieldMapOptions } from './elongation-map.ts';

/** A length with a direction at a place of the sensor, pixels. */
export interface PlacedVector {
  xPx: number;
  yPx: number;
  dxPx: number;
  dyPx: number;
}

/** Vectors are drawn this part of the way to their neighbour. */
const ROOM = 0.85;

/**
 * Vectors over the sensor, magnified alike so that the longest fills its place: comets (head at the place, tail along
 * the vector) or plain lines through the place. Returns how many pixels of the drawing one pixel of the frame takes.
 */
export function drawVectorMap(
  element: SVGSVGElement,
  data: FieldSize & { vectors: PlacedVector[]; columns: number; glyph: 'comet' | 'line' },
  options: FieldMapOptions,
): number {
  const frame = drawFieldFrame(element, data, options);
  const inside = clipped(frame);
  const longest = Math.max(...data.vectors.map(({ dxPx, dyPx }) => Math.hypot(dxPx, dyPx)), 1e-6);
  const perPx = (ROOM * frame.width) / data.columns / longest;
  for (const { xPx, yPx, dxPx, dyPx } of data.vectors) {
    const [x, y] = [frame.x(xPx), frame.y(yPx)];
    const length = perPx * Math.hypot(dxPx, dyPx);
    const angleRad = Math.atan2(dyPx, dxPx);
    if (length < 2)
      inside.append('circle').attr('class', 'whisker-round').attr('cx', x).attr('cy', y).attr('r', 2);
    else if (data.glyph === 'comet')
      inside
        .append('path')
        .attr('class', 'comet')
        .attr('d', cometPath(length))
        .attr(
          'transform',
          `translate(${x},${y}) rotate(${(angleRad * 180) / Math.PI}) translate(${-length / 2},0)`,
        );
    else
      inside
        .append('path')
        .attr('class', 'whisker')
        .attr('d', whisker(x, y, angleRad, length / 2));
  }
  drawOutline(frame);
  return perPx;
}
