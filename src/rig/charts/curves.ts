import { axisBottom, axisLeft, line, scaleLinear } from 'd3';
import { startDrawing, stroke, write } from './drawing.ts';

export interface Curve {
  points: [number, number][];
  className: 'rig-line' | 'rig-line-thin' | 'rig-line-dashed';
  name?: string;
}

/** Lines over one axis each way, a shaded band or two across, and upright marks with words. */
export function drawCurves(
  element: SVGSVGElement,
  data: {
    label: string;
    curves: Curve[];
    x: { from: number; to: number; title: string };
    y: { from: number; to: number; title: string };
    bands?: { from: number; to: number; name: string }[];
    marks?: { at: number; name: string }[];
    marksBelow?: boolean;
  },
  availableWidth: number,
  height = 210,
): void {
  const margin = { top: 24, right: 14, bottom: 40, left: 52 };
  const width = Math.min(availableWidth, 620) - margin.left - margin.right;
  const inner = height - margin.top - margin.bottom;
  const root = startDrawing(element, Math.min(availableWidth, 620), height, data.label);
  const plot = root.append('g').attr('transform', `translate(${margin.left},${margin.top})`);
  const x = scaleLinear([data.x.from, data.x.to], [0, width]);
  const y = scaleLinear([data.y.from, data.y.to], [inner, 0]);
  for (const band of data.bands ?? []) {
    plot
      .append('rect')
      .attr('class', 'rig-band')
      .attr('width', width)
      .attr('y', y(band.to))
      .attr('height', y(band.from) - y(band.to));
    write(plot, band.name, width / 2, y(band.to) + 15, 'middle');
  }
  plot
    .append('g')
    .attr('class', 'axis')
    .attr('transform', `translate(0,${inner})`)
    .call(
      axisBottom(x)
        .ticks(Math.max(3, width / 80))
        .tickSizeOuter(0),
    );
  plot.append('g').attr('class', 'axis').call(axisLeft(y).ticks(4).tickSizeOuter(0));
  write(plot, data.x.title, width / 2, inner + 34, 'middle');
  write(plot, data.y.title, -margin.left + 4, -10);
  const clip = `rig-curves-${++drawn}`;
  root.append('clipPath').attr('id', clip).append('rect').attr('width', width).attr('height', inner);
  const inside = plot.append('g').attr('clip-path', `url(#${clip})`);
  const path = line<[number, number]>(
    ([px]) => x(px),
    ([, py]) => y(py),
  );
  data.curves.forEach((curve, i) => {
    stroke(inside, curve.className, path(curve.points) ?? '');
    const last = curve.points.at(-1);
    if (curve.name && last)
      write(
        plot,
        curve.name,
        Math.min(x(last[0]), width) - 6,
        clamp(y(last[1]) + 18 + 16 * i, 26, inner - 6 - 16 * i),
        'end',
      );
  });
  (data.marks ?? []).forEach((mark, i) => {
    stroke(plot, 'rig-mark', `M${x(mark.at)},0V${inner}`);
    const late = x(mark.at) > 0.7 * width;
    write(
      plot,
      mark.name,
      x(mark.at) + (late ? -5 : 5),
      data.marksBelow ? inner - 8 - 16 * i : 12 + 16 * i,
      late ? 'end' : 'start',
    );
  });
}

let drawn = 0;
const clamp = (value: number, low: number, high: number) => Math.min(high, Math.max(low, value));
