import { select } from 'd3';

export interface PlatePoint {
  /** Direction from the middle, degrees from +x towards +y (down). */
  atDeg: number;
  name: string;
  /** What to do there, in a word or two; a line each. */
  words: string;
  /** The gap is to grow there, to shrink, or to stay. */
  way: 'out' | 'in' | 'stay';
}
export interface PlateData {
  points: PlatePoint[];
  radiusMm: number;
  sensorMm: { width: number; height: number } | null;
  /** Towards where the sensor lies farther out, degrees from +x towards +y. */
  farDeg: number;
}

const HEIGHT = 300;
const DEG = Math.PI / 180;
/** Room for words beside the ring of screws. */
const ASIDE = 96;
const ABOVE = 56;
const LINE = 16;
/** A sensor much smaller than the ring is still to be seen. */
const LEAST_SENSOR = 0.28;

/**
 * The plate that carries the camera, laid out as the picture is: the sensor in the middle, the screws on their ring at
 * their places on the clock, an arrow towards where the sensor lies too far out. A ring around a screw: the gap grows
 * there; a dot: it shrinks.
 */
export function drawAdjuster(
  element: SVGSVGElement,
  { points, radiusMm, sensorMm, farDeg }: PlateData,
  options: { availableWidth: number; label: string },
): void {
  const width = Math.min(options.availableWidth, 430);
  const ring = Math.max(48, Math.min((width - 2 * ASIDE) / 2, HEIGHT / 2 - ABOVE));
  const svg = select(element)
    .attr('width', width)
    .attr('height', HEIGHT)
    .attr('role', 'img')
    .attr('aria-label', options.label);
  svg.selectAll('*').remove();
  const plate = svg.append('g').attr('transform', `translate(${width / 2},${HEIGHT / 2})`);
  plate.append('circle').attr('class', 'plate-ring').attr('r', ring);
  for (let hour = 0; hour < 12; hour++) {
    const [c, s] = [Math.cos(30 * hour * DEG), Math.sin(30 * hour * DEG)];
    const inner = ring - (hour % 3 === 0 ? 8 : 4);
    plate
      .append('path')
      .attr('class', 'plate-hour')
      .attr('d', `M${inner * c},${inner * s}L${ring * c},${ring * s}`);
  }
  const { width: wide, height: high } = sensorMm ?? { width: 1.5, height: 1 };
  const diagonal = Math.hypot(wide, high);
  const share = Math.min(0.62, Math.max(LEAST_SENSOR, sensorMm ? diagonal / (2 * radiusMm) : LEAST_SENSOR));
  const perMm = (2 * share * ring) / diagonal;
  plate
    .append('rect')
    .attr('class', 'plate-sensor')
    .attr('x', (-wide * perMm) / 2)
    .attr('y', (-high * perMm) / 2)
    .attr('width', wide * perMm)
    .attr('height', high * perMm);
  const arrow = plate.append('g').attr('transform', `rotate(${farDeg})`);
  const tip = 0.74 * ring;
  arrow
    .append('path')
    .attr('class', 'plate-arrow')
    .attr('d', `M${-tip},0H${tip}M${tip - 10},-6L${tip},0L${tip - 10},6`);
  for (const { atDeg, name, words, way } of points) {
    const [c, s] = [Math.cos(atDeg * DEG), Math.sin(atDeg * DEG)];
    const screw = plate.append('g').attr('transform', `translate(${ring * c},${ring * s})`);
    screw.append('circle').attr('class', `plate-screw ${way}`).attr('r', 13);
    screw.append('text').attr('class', 'plate-name').attr('dy', '0.36em').text(name);
    const upright = Math.abs(c) < 0.35;
    const lines = words.split('\n');
    const beside = screw
      .append('text')
      .attr('class', 'plate-words')
      .attr('text-anchor', upright ? 'middle' : c > 0 ? 'start' : 'end');
    const top = upright ? (s > 0 ? 30 : -4 - LINE * lines.length) : 5 - (LINE / 2) * (lines.length - 1);
    lines.forEach((line, i) =>
      beside
        .append('tspan')
        .attr('x', upright ? 0 : 19 * Math.sign(c))
        .attr('y', top + LINE * i)
        .text(line),
    );
  }
}
