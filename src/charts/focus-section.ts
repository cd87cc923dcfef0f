import { area, axisBottom, axisLeft, extent, line, scaleLinear, select } from 'd3';
import type { Estimate } from '../../workers/protocol/report.ts';
import type { FieldSize } from './field-frame.ts';

/** A straight cut through the middle of the sensor, from border to border, full-frame pixels. */
export interface Cut {
  fromX: number;
  fromY: number;
  toX: number;
  toY: number;
}

/** The plane that fits values on the sensor best (least squares): its slope, per pixel, along x and y. */
export function planeSlope(places: readonly { xPx: number; yPx: number }[], values: ArrayLike<number>) {
  const n = places.length;
  let [mx, my, mz] = [0, 0, 0];
  places.forEach(({ xPx, yPx }, i) => {
    mx += xPx / n;
    my += yPx / n;
    mz += values[i] / n;
  });
  let [xx, xy, yy, xz, yz] = [0, 0, 0, 0, 0];
  places.forEach(({ xPx, yPx }, i) => {
    const [dx, dy, dz] = [xPx - mx, yPx - my, values[i] - mz];
    xx += dx * dx;
    xy += dx * dy;
    yy += dy * dy;
    xz += dx * dz;
    yz += dy * dz;
  });
  const determinant = xx * yy - xy * xy;
  if (!(determinant > 0)) return { perPxX: 0, perPxY: 0 };
  return { perPxX: (xz * yy - yz * xy) / determinant, perPxY: (yz * xx - xz * xy) / determinant };
}

/** Where a line through the sensor's middle along (dx, dy) meets its border. */
export function cutAlong({ widthPx, heightPx }: FieldSize, dx: number, dy: number): Cut {
  const [cx, cy] = [(widthPx - 1) / 2, (heightPx - 1) / 2];
  const reach = Math.min(
    dx === 0 ? Infinity : widthPx / 2 / Math.abs(dx),
    dy === 0 ? Infinity : heightPx / 2 / Math.abs(dy),
  );
  return { fromX: cx - reach * dx, fromY: cy - reach * dy, toX: cx + reach * dx, toY: cy + reach * dy };
}

export interface SectionPoint {
  /** From the sensor's middle along the cut, in the unit of the axis. */
  at: number;
  defocusUm: Estimate;
}

const MARGIN = { top: 22, right: 16, bottom: 42, left: 52 };

/**
 * The focal surface seen from the side: distance of the sensor from focus along a cut, one standard error as a band
 * about it; `depthUm` shades the distances that are as good as focus.
 */
export function drawFocusSection(
  element: SVGSVGElement,
  data: { points: SectionPoint[]; depthUm: number | null },
  options: { availableWidth: number; height: number; axisText: string; label: string },
): void {
  const width = options.availableWidth - MARGIN.left - MARGIN.right;
  const height = options.height - MARGIN.top - MARGIN.bottom;
  const svg = select(element);
  svg.selectAll('*').remove();
  svg
    .attr('width', options.availableWidth)
    .attr('height', options.height)
    .attr('role', 'img')
    .attr('aria-label', options.label);
  const plot = svg.append('g').attr('transform', `translate(${MARGIN.left},${MARGIN.top})`);
  const { points, depthUm } = data;
  const [least, most] = extent(
    points.flatMap(({ defocusUm: { value, sigma } }) => [value - sigma, value + sigma]),
  ) as [number, number];
  const edge = depthUm ?? 1;
  const x = scaleLinear([points[0].at, points[points.length - 1].at], [0, width]);
  const y = scaleLinear([Math.min(least, -edge), Math.max(most, edge)], [height, 0]).nice();
  const onPlot = (um: number) => Math.min(height, Math.max(0, y(um)));
  if (depthUm)
    plot
      .append('rect')
      .attr('class', 'section-depth')
      .attr('width', width)
      .attr('y', onPlot(depthUm))
      .attr('height', onPlot(-depthUm) - onPlot(depthUm));
  plot
    .append('g')
    .attr('class', 'axis')
    .attr('transform', `translate(0,${height})`)
    .call(
      axisBottom(x)
        .ticks(Math.max(3, width / 90))
        .tickSizeOuter(0),
    );
  plot.append('g').attr('class', 'axis').call(axisLeft(y).ticks(5).tickSizeOuter(0));
  plot
    .append('path')
    .attr('class', 'section-zero')
    .attr('d', `M0,${y(0)}H${width}`);
  plot
    .append('path')
    .attr('class', 'section-error')
    .attr(
      'd',
      area<SectionPoint>(
        ({ at }) => x(at),
        ({ defocusUm: { value, sigma } }) => y(value - sigma),
        ({ defocusUm: { value, sigma } }) => y(value + sigma),
      )(points),
    );
  plot
    .append('path')
    .attr('class', 'section-line')
    .attr(
      'd',
      line<SectionPoint>(
        ({ at }) => x(at),
        ({ defocusUm }) => y(defocusUm.value),
      )(points),
    );
  const text = (className: string, at: number, down: number, anchor: string, words: string) =>
    plot
      .append('text')
      .attr('class', className)
      .attr('x', at)
      .attr('y', down)
      .attr('text-anchor', anchor)
      .text(words);
  text('section-end', 0, -8, 'middle', 'A');
  text('section-end', width, -8, 'middle', 'B');
  text('axis-title', width, height + 36, 'end', options.axisText);
  text('axis-title', 14, -8, 'start', 'µm from focus');
}
