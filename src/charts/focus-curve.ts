import { axisBottom, axisLeft, extent, line, scaleLinear, select } from 'd3';

export interface FocusSize {
  position: number;
  hfdPx: number;
  sigmaPx: number;
}
const MARGIN = { top: 14, right: 14, bottom: 42, left: 46 };

/** Size of the stars against the focus position: measured in the middle, the fitted curve, and the best position. */
export function drawFocusCurve(
  element: SVGSVGElement,
  data: { sizes: FocusSize[]; curve: { position: number; hfdPx: number }[]; best: number | null },
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
  const positions = extent([...data.sizes, ...data.curve], ({ position }) => position) as [number, number];
  const most = Math.max(...data.sizes.map(({ hfdPx }) => hfdPx), ...data.curve.map(({ hfdPx }) => hfdPx));
  const x = scaleLinear(positions, [6, width - 6]);
  const y = scaleLinear([0, most * 1.05], [height, 0]);
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
    .attr('class', 'night-line')
    .attr(
      'd',
      line<{ position: number; hfdPx: number }>(
        ({ position }) => x(position),
        ({ hfdPx }) => y(hfdPx),
      )(data.curve),
    );
  plot
    .append('path')
    .attr('class', 'night-kept')
    .attr('stroke-width', 5)
    .attr('d', data.sizes.map(({ position, hfdPx }) => `M${x(position)},${y(hfdPx)}h0`).join(''));
  if (data.best !== null && data.best >= positions[0] && data.best <= positions[1])
    plot
      .append('path')
      .attr('class', 'night-limit')
      .attr('d', `M${x(data.best)},0V${height}`);
  plot
    .append('text')
    .attr('class', 'axis-title')
    .attr('x', width)
    .attr('y', height + 36)
    .attr('text-anchor', 'end')
    .text('focus position');
  plot
    .append('text')
    .attr('class', 'axis-title')
    .attr('x', 8)
    .attr('y', 0)
    .attr('dy', '0.4em')
    .text('half-flux diameter, px');
}
