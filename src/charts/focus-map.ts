import { contours, extent, geoPath, geoTransform, range, tickStep } from 'd3';
import { clipped, drawFieldFrame, drawOutline, type FieldSize } from './field-frame.ts';
import type { FieldMapOptions } from './elongation-map.ts';
import type { Cut } from './focus-section.ts';

export interface FocusGrid {
  columns: number;
  rows: number;
  /** Distance of the sensor from focus, row by row; the outer nodes lie on the sensor's border. */
  valuesUm: Float64Array;
}

const STEPS = 7;

/** Round levels that hold the values and zero where it is among them. */
export function focusLevels(valuesUm: ArrayLike<number>): number[] {
  const [least, most] = extent(Array.from(valuesUm)) as [number, number];
  if (!(most - least > 0.5)) return [];
  const step = tickStep(least, most, STEPS);
  return range(Math.ceil(least / step), Math.floor(most / step) + 1).map((k) =>
    Number((k * step).toPrecision(12)),
  );
}

/**
 * Lines of equal distance from focus over the sensor, in micrometres, as on a map of heights: the line of zero is
 * thick, those of the far side are dashed. `cut`: where the side section runs, its ends lettered as there.
 */
export function drawFocusMap(
  element: SVGSVGElement,
  data: FieldSize & { grid: FocusGrid; cut?: Cut },
  options: FieldMapOptions,
): void {
  const frame = drawFieldFrame(element, data, options);
  const inside = clipped(frame);
  const { columns, rows, valuesUm } = data.grid;
  const at = (gx: number, gy: number): [number, number] => [
    ((gx - 0.5) / (columns - 1)) * frame.width,
    ((gy - 0.5) / (rows - 1)) * frame.height,
  ];
  const path = geoPath(
    geoTransform({
      point(gx, gy) {
        this.stream.point(...at(gx, gy));
      },
    }),
  );
  const levels = focusLevels(valuesUm);
  if (data.cut) drawCut(data.cut);
  // Contours close along the border: their own lines there are hidden by a clip just inside.
  for (const level of contours().size([columns, rows]).thresholds(levels)(Array.from(valuesUm))) {
    inside
      .append('path')
      .attr('class', `focus-line ${level.value === 0 ? 'zero' : level.value < 0 ? 'before' : ''}`)
      .attr('d', path(level));
    label(level.value, level.coordinates);
  }
  function label(value: number, rings: number[][][][]): void {
    // One label a level, where its line is nearest to a common diagonal: labels then seldom collide.
    let best: { x: number; y: number; far: number } | null = null;
    for (const ring of rings.flat())
      for (const [gx, gy] of ring) {
        const [x, y] = at(gx, gy);
        const edge = Math.min(x, y, frame.width - x, frame.height - y);
        if (edge < 14) continue;
        const far = Math.abs(x / frame.width - 1 + y / frame.height);
        if (!best || far < best.far) best = { x, y, far };
      }
    if (!best) return;
    for (const style of ['focus-casing', 'focus-label'])
      inside
        .append('text')
        .attr('class', style)
        .attr('x', best.x)
        .attr('y', best.y + 4)
        .attr('text-anchor', 'middle')
        .text(String(value).replace('-', '−'));
  }
  drawOutline(frame);

  function drawCut({ fromX, fromY, toX, toY }: Cut): void {
    const ends = [
      { letter: 'A', x: frame.x(fromX), y: frame.y(fromY) },
      { letter: 'B', x: frame.x(toX), y: frame.y(toY) },
    ];
    const [a, b] = ends;
    inside.append('path').attr('class', 'focus-cut').attr('d', `M${a.x},${a.y}L${b.x},${b.y}`);
    const long = Math.hypot(b.x - a.x, b.y - a.y);
    for (const { letter, x, y } of ends) {
      // A little way in from the border, beside the line.
      const [tx, ty] = [(frame.width / 2 - x) / (long / 2), (frame.height / 2 - y) / (long / 2)];
      inside
        .append('text')
        .attr('class', 'section-end')
        .attr('x', x + 16 * tx - 12 * ty)
        .attr('y', y + 16 * ty + 12 * tx + 5)
        .attr('text-anchor', 'middle')
        .text(letter);
    }
  }
}
