import { axisBottom, axisLeft, max, scaleLinear, select } from 'd3';

export interface ShapeMatch {
  predicted: number;
  seen: number;
}
const MARGIN = { top: 12, right: 14, bottom: 42, left: 46 };

/**
 * Length over width that the path foretells (right) against the one seen (up), one dot a frame. On the slanted line the
 * tracking explains the shapes; above it, something else makes the stars long.
 */
export function drawShapeMatch(
  element: SVGSVGElement,
  frames: ShapeMatch[],
  options: { availableWidth: number; height: number; label: string },
): void {
  const width = options.availableWidth - MARGIN.left - MARGIN.right;
  const height = options.height - MARGIN.top - MARGIN.bottom;
  const svg = select(element)
    .attr('width', options.availableWidth)
    .attr('height', options.height)
    .attr('role', 'img')
    .attr('aria-label', options.label);
  svg.selectAll('*').remove();
  const plot = svg.append('g').attr('transform', `translate(${MARGIN.left},${MARGIN.top})`);
  const most = Math.max(1.4, max(frames, ({ predicted, seen }) => Math.max(predicted, seen)) ?? 0);
  const x = scaleLinear([1, most], [0, width]).nice();
  const y = scaleLinear(x.domain(), [height, 0]);
  plot
    .append('g')
    .attr('class', 'axis')
    .attr('transform', `translate(0,${height})`)
    .call(axisBottom(x).ticks(5).tickSizeOuter(0));
  plot.append('g').attr('class', 'axis').call(axisLeft(y).ticks(5).tickSizeOuter(0));
  plot.append('path').attr('class', 'night-limit').attr('d', `M0,${height}L${width},0`);
  plot
    .append('path')
    .attr('class', 'night-kept')
    .attr('stroke-width', frames.length > 300 ? 3 : 5)
    .attr('d', frames.map(({ predicted, seen }) => `M${x(predicted)},${y(seen)}h0`).join(''));
  plot
    .append('text')
    .attr('class', 'axis-title')
    .attr('x', width)
    .attr('y', height + 36)
    .attr('text-anchor', 'end')
    .text('length over width, foretold by the path');
  plot.append('text').attr('class', 'axis-title').attr('x', 8).attr('y', 2).attr('dy', '0.5em').text('seen');
}
