import { contours, extent, geoPath, geoTransform, range, tickStep } from 'd3';
import { widthColour } from './colour.ts';
import type { FieldMapOptions } from './elongation-map.ts';
import { clipped, drawFieldFrame, drawOutline, type FieldSize } from './field-frame.ts';
import type { RoundMark } from '../stars/round-mark.ts';
import { drawRoundCircle } from './round-circle.ts';
import { sampleSurface, type Surface } from './surface.ts';

const COLUMNS = 90;
/** The scale spans at least this part of the middle value, so that noise never looks like a slope. */
const LEAST_SPAN = 0.12;
const STEPS = 7;

export interface Band {
  from: number;
  colour: string;
}

/** Widths on a grid whose outer nodes lie on the sensor's border, row by row, in the unit that is shown. */
export interface WidthGrid {
  rows: number;
  values: Float64Array;
}

export function widthGrid(surface: Surface, { widthPx, heightPx }: FieldSize, perPx: number): WidthGrid {
  const rows = Math.max(2, Math.round((COLUMNS * heightPx) / widthPx));
  return { rows, values: sampleSurface(surface, widthPx, heightPx, COLUMNS, rows).map((px) => px * perPx) };
}

/** The bands of a map's legend: maps that stand side by side share them. */
export function bandsOf(levels: number[]): Band[] {
  const step = levels[1] - levels[0];
  const colour = widthColour(levels[0], levels[levels.length - 1] + step);
  return levels.map((from) => ({ from, colour: colour(from + step / 2) }));
}

/** Filled contours of star width over the sensor, the stars it was made from as dots. */
export function drawWidthMap(
  element: SVGSVGElement,
  data: FieldSize & {
    circle: RoundMark | null;
    grid: WidthGrid;
    bands: Band[];
    starsXPx: ArrayLike<number>;
    starsYPx: ArrayLike<number>;
  },
  options: FieldMapOptions,
): void {
  const frame = drawFieldFrame(element, data, options);
  const { rows, values } = data.grid;
  // The outer samples lie on the border and contours put sample i at i + 0.5.
  const path = geoPath(
    geoTransform({
      point(gx, gy) {
        this.stream.point(
          ((gx - 0.5) / (COLUMNS - 1)) * frame.width,
          ((gy - 0.5) / (rows - 1)) * frame.height,
        );
      },
    }),
  );
  const inside = clipped(frame);
  inside
    .append('rect')
    .attr('width', frame.width)
    .attr('height', frame.height)
    .attr('fill', data.bands[0].colour);
  const levels = data.bands.map(({ from }) => from);
  contours()
    .size([COLUMNS, rows])
    .thresholds(levels)(Array.from(values))
    .forEach((band, i) =>
      inside
        .append('path')
        .attr('class', 'width-band')
        .attr('d', path(band))
        .attr('fill', data.bands[i].colour),
    );
  const dots = range(data.starsXPx.length)
    .map((i) => `M${frame.x(data.starsXPx[i]).toFixed(1)},${frame.y(data.starsYPx[i]).toFixed(1)}h.01`)
    .join('');
  inside.append('path').attr('class', 'width-stars').attr('d', dots);
  if (data.circle) drawRoundCircle(inside, frame, data.circle);
  drawOutline(frame);
}

/** Round levels from at or below the least value up; at least `LEAST_SPAN` of the middle value wide in all. */
export function bandLevels(grid: ArrayLike<number>): number[] {
  const [least, most] = extent(Array.from(grid)) as [number, number];
  const middle = (least + most) / 2;
  const half = Math.max((most - least) / 2, (LEAST_SPAN * middle) / 2);
  const step = tickStep(middle - half, middle + half, STEPS);
  const first = Math.floor((middle - half) / step);
  const last = Math.ceil((middle + half) / step);
  return range(first, last).map((k) => Number((k * step).toPrecision(12)));
}
