import { max, scaleLinear } from 'd3';
import { drawAxes, drawTitles, startPlot } from './plot.ts';

export interface ShapeMatch {
  predicted: number;
  seen: number;
}

/**
 * Length over width that the path foretells (right) against the one seen (up), one dot a frame. On the slanted line the
 * tracking explains the shapes; above it, something else makes the stars long.
 */
export function drawShapeMatch(
  element: SVGSVGElement,
  frames: ShapeMatch[],
  options: { availableWidth: number; height: number; label: string },
): void {
  const plot = startPlot(element, options);
  const { group, width, height } = plot;
  const most = Math.max(1.4, max(frames, ({ predicted, seen }) => Math.max(predicted, seen)) ?? 0);
  const x = scaleLinear([1, most], [0, width]).nice();
  const y = scaleLinear(x.domain(), [height, 0]);
  drawAxes(plot, x, y);
  group.append('path').attr('class', 'night-limit').attr('d', `M0,${height}L${width},0`);
  group
    .append('path')
    .attr('class', 'night-kept')
    .attr('stroke-width', frames.length > 300 ? 3 : 5)
    .attr('d', frames.map(({ predicted, seen }) => `M${x(predicted)},${y(seen)}h0`).join(''));
  drawTitles(plot, 'length over width, foretold by the path', 'seen');
}
