import { box, startDrawing, write } from './drawing.ts';

export interface Outline {
  name: string;
  widthMm: number;
  heightMm: number;
}

/** Common sizes of sensors, from small to large (common practice, no source). */
export const COMMON_OUTLINES: Outline[] = [
  { name: '5.6 × 3.2', widthMm: 5.6, heightMm: 3.2 },
  { name: '11.2 × 6.3', widthMm: 11.2, heightMm: 6.3 },
  { name: '17.7 × 13.4', widthMm: 17.7, heightMm: 13.4 },
  { name: '23.5 × 15.7', widthMm: 23.5, heightMm: 15.7 },
  { name: '36 × 24', widthMm: 36, heightMm: 24 },
];

/**
 * The field of a bare mirror with the coma spots at their places, enlarged, and outlines of sensors over it. A spot is
 * the wedge of 60° that the law makes, its tip towards the axis; the dashed circle is where the tail reaches the limit.
 */
export function drawComaField(
  element: SVGSVGElement,
  data: { own: Outline; others: Outline[]; limitMm: number; sagittalUm: (heightMm: number) => number },
  availableWidth: number,
): void {
  const width = Math.min(availableWidth, 620);
  const all = [data.own, ...data.others];
  const spanX = 1.06 * Math.max(...all.map(({ widthMm }) => widthMm));
  const spanY = 1.1 * Math.max(...all.map(({ heightMm }) => heightMm));
  const perMm = Math.min(width / spanX, 360 / spanY);
  const height = spanY * perMm;
  const root = startDrawing(
    element,
    width,
    height + 44,
    `Coma over the field: outlines of sensors, a circle of ${data.limitMm.toFixed(1)} mm where the tail reaches the limit`,
  );
  const [cx, cy] = [width / 2, height / 2];
  const step = Math.min(spanX / 9, spanY / 5);
  const corner = Math.hypot(spanX, spanY) / 2;
  // The outermost tail nearly reaches the next place of the grid.
  const enlarged = (0.9 * step) / ((3 * data.sagittalUm(corner)) / 1000);
  const clip = `coma-field-${++drawn}`;
  root
    .append('clipPath')
    .attr('id', clip)
    .append('rect')
    .attr('x', cx - (spanX * perMm) / 2)
    .attr('width', spanX * perMm)
    .attr('height', height);
  const inside = root.append('g').attr('clip-path', `url(#${clip})`);
  box(inside, 'rig-sky', cx - (spanX * perMm) / 2, 0, spanX * perMm, height);
  for (let i = -Math.ceil(spanX / step / 2); i <= Math.ceil(spanX / step / 2); i++)
    for (let j = -Math.ceil(spanY / step / 2); j <= Math.ceil(spanY / step / 2); j++) {
      const [x, y] = [i * step, j * step];
      const cs = (data.sagittalUm(Math.hypot(x, y)) / 1000) * enlarged * perMm;
      const at = `translate(${cx + x * perMm},${cy + y * perMm}) rotate(${(Math.atan2(y, x) * 180) / Math.PI})`;
      inside.append('path').attr('class', 'rig-comet').attr('transform', at).attr('d', spot(cs));
    }
  for (const { name, widthMm, heightMm } of data.others) {
    outline(inside, 'rig-outline other', widthMm, heightMm);
    write(
      inside,
      name,
      cx - (widthMm / 2) * perMm + 5,
      cy - (heightMm / 2) * perMm + 15,
      'start',
      'rig-text haloed',
    );
  }
  outline(inside, 'rig-outline', data.own.widthMm, data.own.heightMm);
  inside
    .append('circle')
    .attr('class', 'rig-limit')
    .attr('cx', cx)
    .attr('cy', cy)
    .attr('r', data.limitMm * perMm);
  write(root, `Spots drawn ${Math.round(enlarged)} times too large; sizes in mm.`, cx, height + 18, 'middle');
  write(root, 'Thick: this sensor. Dotted: where tails reach the limit.', cx, height + 36, 'middle');

  function outline(group: typeof inside, className: string, w: number, h: number): void {
    box(group, className, cx - (w / 2) * perMm, cy - (h / 2) * perMm, w * perMm, h * perMm);
  }
}

/** Tip at the origin, tail along +x: tangents at ±30° to the largest circle, radius Cs about 2 Cs. */
function spot(cs: number): string {
  if (cs < 0.35) return 'M-0.7,0a0.7,0.7 0 1 0 1.4,0a0.7,0.7 0 1 0 -1.4,0';
  const along = Math.sqrt(3) * cs;
  const [x, y] = [along * Math.cos(Math.PI / 6), along / 2];
  return `M0,0L${x},${-y}A${cs},${cs} 0 1 1 ${x},${y}Z`;
}

let drawn = 0;
