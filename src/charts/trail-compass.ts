import { select } from 'd3';

export interface TrailCompass {
  widthPx: number;
  heightPx: number;
  /** Directions on the picture, degrees from +x towards +y (down). */
  eastDeg: number;
  northDeg: number;
  lengthPx: number;
}

const DEG = Math.PI / 180;
const MOST_HEIGHT = 260;
/** From the middle to the letters, as part of the frame's shorter half. */
const REACH = 0.8;
/** Letters stay so far from where the trail ends. */
const LETTER = 15;

/**
 * The frame with one of its trails laid through the middle, true to scale: a dot at the bright end, which is the east, a
 * letter at each end, and an arrow to the north.
 */
export function drawTrailCompass(
  element: SVGSVGElement,
  { widthPx, heightPx, eastDeg, northDeg, lengthPx }: TrailCompass,
  options: { availableWidth: number; label: string },
): void {
  const perPx = Math.min((Math.min(options.availableWidth, 420) - 2) / widthPx, MOST_HEIGHT / heightPx);
  const [wide, high] = [widthPx * perPx, heightPx * perPx];
  const svg = select(element)
    .attr('width', wide + 2)
    .attr('height', high + 2)
    .attr('role', 'img')
    .attr('aria-label', options.label);
  svg.selectAll('*').remove();
  const frame = svg.append('g').attr('transform', `translate(${1 + wide / 2},${1 + high / 2})`);
  frame
    .append('rect')
    .attr('class', 'trail-frame')
    .attr('x', -wide / 2)
    .attr('y', -high / 2)
    .attr('width', wide)
    .attr('height', high);
  const most = (REACH * Math.min(wide, high)) / 2;
  const half = Math.min(most, Math.max(24, (lengthPx * perPx) / 2));
  const [east, north] = [eastDeg, northDeg].map((degrees) => [
    Math.cos(degrees * DEG),
    Math.sin(degrees * DEG),
  ]);
  const at = ([x, y]: number[], by: number) => [x * by, y * by];
  const [bright, faint] = [at(east, half), at(east, -half)];
  frame.append('path').attr('class', 'trail-way').attr('d', `M${bright}L${faint}`);
  frame.append('circle').attr('class', 'trail-end').attr('cx', bright[0]).attr('cy', bright[1]).attr('r', 5);
  const tip = Math.min(most, 46);
  frame
    .append('path')
    .attr('class', 'trail-north')
    .attr('transform', `rotate(${northDeg})`)
    .attr('d', `M0,0H${tip}M${tip - 8},-5L${tip},0L${tip - 8},5`);
  for (const [letter, [x, y]] of [
    ['E', at(east, half + LETTER)],
    ['W', at(east, -half - LETTER)],
    ['N', at(north, tip + LETTER)],
  ] as [string, number[]][])
    frame
      .append('text')
      .attr('class', 'trail-letter')
      .attr('x', x)
      .attr('y', y)
      .attr('dy', '0.36em')
      .text(letter);
}
