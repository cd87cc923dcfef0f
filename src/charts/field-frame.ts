import { scaleLinear, select, type ScaleLinear, type Selection } from 'd3';

/** The sensor drawn to scale: what every map of the field stands on. First stored row on top. */
export interface FieldFrame {
  svg: Selection<SVGSVGElement, unknown, null, undefined>;
  /** The drawing area, origin at the sensor's first pixel. */
  plot: Selection<SVGGElement, unknown, null, undefined>;
  x: ScaleLinear<number, number>;
  y: ScaleLinear<number, number>;
  width: number;
  height: number;
}

export interface FieldSize {
  widthPx: number;
  heightPx: number;
}

const MARGIN = { top: 10, right: 10, bottom: 26, left: 10 };
/** Length of the bracket that holds each corner of the outline. */
const BRACKET = 14;

/** Clears `element` and draws the outline `availableWidth` wide, its size written along the lower edge. */
export function drawFieldFrame(
  element: SVGSVGElement,
  size: FieldSize,
  options: { availableWidth: number; maxHeight: number; sizeText: string; label: string },
): FieldFrame {
  const room = {
    width: options.availableWidth - MARGIN.left - MARGIN.right,
    height: options.maxHeight - MARGIN.top - MARGIN.bottom,
  };
  const perPx = Math.min(room.width / size.widthPx, room.height / size.heightPx);
  const width = size.widthPx * perPx;
  const height = size.heightPx * perPx;

  const svg = select(element);
  svg.selectAll('*').remove();
  svg
    .attr('width', options.availableWidth)
    .attr('height', height + MARGIN.top + MARGIN.bottom)
    .attr('role', 'img')
    .attr('aria-label', options.label);
  const left = (options.availableWidth - width) / 2;
  const plot = svg.append('g').attr('transform', `translate(${left},${MARGIN.top})`);
  plot.append('rect').attr('class', 'field-ground').attr('width', width).attr('height', height);
  plot
    .append('text')
    .attr('class', 'field-size')
    .attr('x', width / 2)
    .attr('y', height + 19)
    .attr('text-anchor', 'middle')
    .text(options.sizeText);
  // Pixel i covers i - 0.5 to i + 0.5.
  const x = scaleLinear([-0.5, size.widthPx - 0.5], [0, width]);
  const y = scaleLinear([-0.5, size.heightPx - 0.5], [0, height]);
  return { svg, plot, x, y, width, height };
}

/** The outline and its corner brackets, drawn last so that they lie on top. */
export function drawOutline({ plot, width, height }: FieldFrame): void {
  plot.append('rect').attr('class', 'field-outline').attr('width', width).attr('height', height);
  const b = Math.min(BRACKET, width / 6);
  const gap = 4;
  const corners: [number, number, number, number][] = [
    [-gap, -gap, 1, 1],
    [width + gap, -gap, -1, 1],
    [-gap, height + gap, 1, -1],
    [width + gap, height + gap, -1, -1],
  ];
  for (const [cx, cy, dx, dy] of corners)
    plot
      .append('path')
      .attr('class', 'field-bracket')
      .attr('d', `M${cx + dx * b},${cy}H${cx}V${cy + dy * b}`);
}

let clips = 0;

/** A group inside the plot whose drawings end at the sensor's border. */
export function clipped({ plot, width, height }: FieldFrame): FieldFrame['plot'] {
  const id = `field-clip-${++clips}`;
  plot.append('clipPath').attr('id', id).append('rect').attr('width', width).attr('height', height);
  return plot.append('g').attr('clip-path', `url(#${id})`);
}

/** The smallest round value whose drawn length can be read off, with that length. */
export function keyOf(pixelsPerUnit: number): { value: number; lengthPx: number } {
  const value = [0.05, 0.1, 0.2, 0.5, 1, 2].find((v) => v * pixelsPerUnit >= 20) ?? 5;
  return { value, lengthPx: value * pixelsPerUnit };
}
