import { area, line, scaleLinear } from 'd3';
import { drawAxes, drawTitles, startPlot } from './plot.ts';
import type { KeptShare } from '../../workers/protocol/series.ts';

/** Of the words beside the line of this run's exposure. */
const LABEL_PX = 100;
const LABEL_SHARE = 0.2;

/** How many of a hundred frames stay under the limit, by their exposure; `nowS`: the exposure of this run. */
export function drawKeeping(
  element: SVGSVGElement,
  data: { keeping: KeptShare[]; nowS: number | null },
  options: { availableWidth: number; height: number; label: string },
): void {
  const plot = startPlot(element, options);
  const { group, width, height } = plot;
  const longest = Math.max(data.nowS ?? 0, ...data.keeping.map(({ exposureS }) => exposureS));
  const x = scaleLinear([0, longest], [0, width]);
  const y = scaleLinear([0, 100], [height, 0]);
  const percent = (share: number) => y(100 * Math.max(0, Math.min(1, share)));
  drawAxes(plot, x, y, [0, 25, 50, 75, 100]);
  group
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
  group
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
    group
      .append('path')
      .attr('class', 'night-limit')
      .attr('d', `M${x(data.nowS)},0V${height}`);
    const side = x(data.nowS) > width / 2 ? -1 : 1;
    // The words stand below the curve, unless it comes down to them: then above it.
    const endS = x.invert(x(data.nowS) + (side > 0 ? LABEL_PX : 0));
    const stays = data.keeping.find(({ exposureS }) => exposureS >= endS)?.share.value ?? 0;
    group
      .append('text')
      .attr('class', 'night-title')
      .attr('x', x(data.nowS) + 6 * side)
      .attr('y', stays > LABEL_SHARE ? height - 8 : 10)
      .attr('text-anchor', side < 0 ? 'end' : 'start')
      .text(`this run: ${Number(data.nowS.toPrecision(3))} s`);
  }
  drawTitles(plot, 'exposure, s');
}
