import { extent, line, scaleLinear } from 'd3';
import { drawAxes, drawTitles, startPlot } from './plot.ts';

export interface FocusSize {
  position: number;
  hfdPx: number;
  sigmaPx: number;
}

/** Size of the stars against the focus position: measured in the middle, the fitted curve, and the best position. */
export function drawFocusCurve(
  element: SVGSVGElement,
  data: { sizes: FocusSize[]; curve: { position: number; hfdPx: number }[]; best: number | null },
  options: { availableWidth: number; height: number; label: string },
): void {
  const plot = startPlot(element, options);
  const { group, width, height } = plot;
  const positions = extent([...data.sizes, ...data.curve], ({ position }) => position) as [number, number];
  const most = Math.max(...data.sizes.map(({ hfdPx }) => hfdPx), ...data.curve.map(({ hfdPx }) => hfdPx));
  const x = scaleLinear(positions, [6, width - 6]);
  const y = scaleLinear([0, most * 1.05], [height, 0]);
  drawAxes(plot, x, y);
  group
    .append('path')
    .attr('class', 'night-line')
    .attr(
      'd',
      line<{ position: number; hfdPx: number }>(
        ({ position }) => x(position),
        ({ hfdPx }) => y(hfdPx),
      )(data.curve),
    );
  group
    .append('path')
    .attr('class', 'night-kept')
    .attr('stroke-width', 5)
    .attr('d', data.sizes.map(({ position, hfdPx }) => `M${x(position)},${y(hfdPx)}h0`).join(''));
  if (data.best !== null && data.best >= positions[0] && data.best <= positions[1])
    group
      .append('path')
      .attr('class', 'night-limit')
      .attr('d', `M${x(data.best)},0V${height}`);
  drawTitles(plot, 'focus position', 'half-flux diameter, px');
}
