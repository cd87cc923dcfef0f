import { select, type Selection } from 'd3';

export type Group = Selection<SVGGElement, unknown, null, undefined>;

/** An empty drawing of this size that a screen reader knows by `label`. */
export function startDrawing(element: SVGSVGElement, width: number, height: number, label: string): Group {
  const svg = select(element);
  svg.selectAll('*').remove();
  svg.attr('width', width).attr('height', height).attr('role', 'img').attr('aria-label', label);
  return svg.append('g');
}

export function write(
  group: Group,
  text: string,
  x: number,
  y: number,
  anchor: 'start' | 'middle' | 'end' = 'start',
  className = 'rig-text',
): void {
  group
    .append('text')
    .attr('class', className)
    .attr('x', x)
    .attr('y', y)
    .attr('text-anchor', anchor)
    .text(text);
}

export function box(
  group: Group,
  className: string,
  x: number,
  y: number,
  width: number,
  height: number,
): void {
  group
    .append('rect')
    .attr('class', className)
    .attr('x', x)
    .attr('y', y)
    .attr('width', Math.max(0, width))
    .attr('height', Math.max(0, height));
}

export function stroke(group: Group, className: string, d: string): void {
  group.append('path').attr('class', className).attr('d', d);
}
