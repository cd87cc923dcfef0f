import { axisBottom, axisLeft, select, type NumberValue, type ScaleLinear, type Selection } from 'd3';

/** Where a plot of two axes stands in its svg, and how its parts are drawn. */
export interface Plot {
  group: Selection<SVGGElement, unknown, null, undefined>;
  width: number;
  height: number;
}

const MARGIN = { top: 14, right: 14, bottom: 42, left: 46 };

/** Empties the svg, gives it its size and its words for who cannot see it, and leaves room for the axes. */
export function startPlot(
  element: SVGSVGElement,
  options: { availableWidth: number; height: number; label: string },
): Plot {
  const svg = select(element)
    .attr('width', options.availableWidth)
    .attr('height', options.height)
    .attr('role', 'img')
    .attr('aria-label', options.label);
  svg.selectAll('*').remove();
  return {
    group: svg.append('g').attr('transform', `translate(${MARGIN.left},${MARGIN.top})`),
    width: options.availableWidth - MARGIN.left - MARGIN.right,
    height: options.height - MARGIN.top - MARGIN.bottom,
  };
}

type Linear = ScaleLinear<number, number>;

/** Both axes; `ticksY`: how many, or which. */
export function drawAxes(
  { group, width, height }: Plot,
  x: Linear,
  y: Linear,
  ticksY: number | number[] = 5,
): void {
  group
    .append('g')
    .attr('class', 'axis')
    .attr('transform', `translate(0,${height})`)
    .call(
      axisBottom<NumberValue>(x)
        .ticks(Math.max(3, width / 90))
        .tickSizeOuter(0),
    );
  const left = axisLeft<NumberValue>(y).tickSizeOuter(0);
  group
    .append('g')
    .attr('class', 'axis')
    .call(Array.isArray(ticksY) ? left.tickValues(ticksY) : left.ticks(ticksY));
}

/** What runs to the right, and what runs up, where that needs a word. */
export function drawTitles({ group, width, height }: Plot, right: string, up?: string): void {
  group
    .append('text')
    .attr('class', 'axis-title')
    .attr('x', width)
    .attr('y', height + 36)
    .attr('text-anchor', 'end')
    .text(right);
  if (up)
    group.append('text').attr('class', 'axis-title').attr('x', 8).attr('y', 0).attr('dy', '0.4em').text(up);
}
