import { area, axisBottom, axisLeft, line, scaleLinear, select } from 'd3';
import type { KeptShare } from '../../workers/protocol/series.ts';

const MARGIN = { top: 12, right: 14, bottom: 42, left: 46 };
/** Of the words beside the line of this run's exposure. */
const LABEL_PX = 100;
const LABEL_SHARE = 0.2;

/** How many of a hundred frames stay under the limit, by their exposure; `nowS`: the exposure of this run. */
export function drawKeeping(
  element: SVGSVGElement,
  data: { keeping: KeptShare[]; nowS: number | null },
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
  const longest = Math.max(data.nowS ?? 0, ...data.keeping.map(({ exposureS }) => exposureS));
  const x = scaleLinear([0, longest], [0, width]);
  const y = scaleLinear([0, 100], [height, 0]);
  const percent = (share: number) => y(100 * Math.max(0, Math.min(1, share)));
  plot
    .append('g')
    .attr('class', 'axis')
    .attr('transform', `translate(0,${height})`)
    .call(
      axisBottom(x)
        .ticks(Math.max(3, width / 90))
        .tickSizeOuter(0),
    );
  plot
    .append('g')
    .attr('class', 'axis')
    .call(axisLeft(y).tickValues([0, 25, 50, 75, 100]).tickSizeOuter(0));
  plot
    .append('path')
    .attr('class', 'section-error')
    .attr(
      'd',
      area<KeptShare>(
        ({ exposureS }) => x(exposureS),
        ({ share }) => percent(share.value - share.sigma),
        ({ share }) => percent(share.value + share.sigma),
      )(data.keeping),
    );
  plot
    .append('path')
    .attr('class', 'profile-line')
    .attr(
      'd',
      line<KeptShare>(
        ({ exposureS }) => x(exposureS),
        ({ share }) => percent(share.value),
      )(data.keeping),
    );
  if (data.nowS !== null) {
    plot
      .append('path')
      .attr('class', 'night-limit')
      .attr('d', `M${x(data.nowS)},0V${height}`);
    const side = x(data.nowS) > width / 2 ? -1 : 1;
    // The words stand below the curve, unless it comes down to them: then above it.
    const endS = x.invert(x(data.nowS) + (side > 0 ? LABEL_PX : 0));
    const stays = data.keeping.find(({ exposureS }) => exposureS >= endS)?.share.value ?? 0;
    plot
      .append('text')
      .attr('class', 'night-title')
      .attr('x', x(data.nowS) + 6 * side)
      .attr('y', stays > LABEL_SHARE ? height - 8 : 10)
      .attr('text-anchor', side < 0 ? 'end' : 'start')
      .text(`this run: ${Number(data.nowS.toPrecision(3))} s`);
  }
  plot
    .append('text')
    .attr('class', 'axis-title')
    .attr('x', width)
    .attr('y', height + 36)
    .attr('text-anchor', 'end')
    .text('exposure, s');
}
