import { extent, line, scaleLinear, select } from 'd3';

export interface PathPlace {
  xPx: number;
  yPx: number;
}
export interface PathData {
  measured: PathPlace[];
  fitted: PathPlace[];
  /** Index into `measured` of the chosen frame. */
  selected: number | null;
}

const MARGIN = 26;
/** A length for the scale bar: 1, 2 or 5 times a power of ten. */
export function roundLength(wanted: number): number {
  const power = 10 ** Math.floor(Math.log10(wanted));
  return [5, 2, 1].map((step) => step * power).find((length) => length <= wanted) ?? power;
}

/**
 * Where the field has wandered, seen as on the sensor: x to the right, y down, both to the same scale. Dots are frames,
 * the line is the fitted path of the mount; the ring marks the first frame, the arrow's tip the last.
 */
export function drawPath(
  element: SVGSVGElement,
  { measured, fitted, selected }: PathData,
  options: { availableWidth: number; arcsecPerPx: number | null; label: string },
): void {
  const all = [...measured, ...fitted];
  const [left, right] = extent(all, ({ xPx }) => xPx) as [number, number];
  const [top, bottom] = extent(all, ({ yPx }) => yPx) as [number, number];
  const [wide, high] = [Math.max(right - left, 1), Math.max(bottom - top, 1)];
  const inner = options.availableWidth - 2 * MARGIN;
  // A path that runs straight up would be taller than any screen.
  const perPx = Math.min(inner / wide, Math.max(220, 0.7 * inner) / high);
  const height = Math.max(120, high * perPx + 2 * MARGIN);
  const x = scaleLinear(
    [left, left + 1],
    [(options.availableWidth - wide * perPx) / 2, (options.availableWidth - wide * perPx) / 2 + perPx],
  );
  const y = scaleLinear([top, top + 1], [(height - high * perPx) / 2, (height - high * perPx) / 2 + perPx]);
  const svg = select(element)
    .attr('width', options.availableWidth)
    .attr('height', height + 34)
    .attr('role', 'img')
    .attr('aria-label', options.label);
  svg.selectAll('*').remove();
  svg
    .append('path')
    .attr('class', 'path-fitted')
    .attr(
      'd',
      line<PathPlace>(
        ({ xPx }) => x(xPx),
        ({ yPx }) => y(yPx),
      )(fitted),
    );
  svg
    .append('path')
    .attr('class', 'night-kept')
    .attr('stroke-width', measured.length > 300 ? 3 : 5)
    .attr('d', measured.map(({ xPx, yPx }) => `M${x(xPx)},${y(yPx)}h0`).join(''));
  const first = measured[0];
  const last = measured[measured.length - 1];
  svg
    .append('circle')
    .attr('class', 'path-end')
    .attr('r', 8)
    .attr('cx', x(first.xPx))
    .attr('cy', y(first.yPx));
  svg
    .append('path')
    .attr('class', 'path-end')
    .attr('d', `M${x(last.xPx) - 7},${y(last.yPx) - 7}h14v14h-14z`);
  if (selected !== null && measured[selected])
    svg
      .append('circle')
      .attr('class', 'night-ring')
      .attr('r', 6)
      .attr('cx', x(measured[selected].xPx))
      .attr('cy', y(measured[selected].yPx));
  const barPx = roundLength((0.35 * inner) / perPx);
  const text = `${barPx} px${options.arcsecPerPx ? ` = ${Number((barPx * options.arcsecPerPx).toPrecision(3))}″` : ''}`;
  const bar = svg.append('g').attr('transform', `translate(${MARGIN},${height + 12})`);
  bar
    .append('path')
    .attr('class', 'night-bracket')
    .attr('d', `M0,-5V0H${barPx * perPx}V-5`);
  bar.append('text').attr('class', 'night-title').attr('y', 16).text(text);
}
