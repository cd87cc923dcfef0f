import { axisBottom, scaleLog } from 'd3';
import { box, startDrawing, stroke, write } from './drawing.ts';

export interface AxisLimit {
  name: string;
  text: string;
  seconds: number;
  side: 'from' | 'up-to';
}

/** One row per limit over one logarithmic axis of exposure: a bar from the limit on, or up to it. */
export function drawLimitAxis(element: SVGSVGElement, rows: AxisLimit[], availableWidth: number): void {
  const width = Math.min(availableWidth, 760);
  const lane = 46;
  const height = rows.length * lane + 46;
  const root = startDrawing(
    element,
    width,
    height,
    `Limits on one exposure: ${rows.map(({ name, text, side }) => `${side === 'from' ? 'from' : 'up to'} ${text} ${name}`).join('; ')}`,
  );
  const seconds = rows.map((row) => row.seconds);
  const x = scaleLog(
    [Math.min(0.5, ...seconds.map((s) => s / 3)), Math.max(600, ...seconds.map((s) => s * 3))],
    [6, width - 6],
  );
  const [start, end] = x.range();
  rows.forEach((row, i) => {
    const at = x(row.seconds);
    const y = i * lane;
    const bar = y + 24;
    if (row.side === 'from') box(root, 'rig-bar own', at, bar, end - at, 9);
    else box(root, 'rig-bar', start, bar, at - start, 9);
    stroke(root, 'rig-short', `M${at},${bar - 5}v19`);
    stroke(root, 'rig-mark', `M${at},${bar + 14}V${height - 30}`);
  });
  // Words last, over the ticks' lines.
  rows.forEach((row, i) => {
    const words = `${row.side === 'from' ? 'from' : 'up to'} ${row.text}: ${row.name}`;
    write(root, words, start, i * lane + 15, 'start', 'rig-text haloed');
  });
  root
    .append('g')
    .attr('class', 'axis')
    .attr('transform', `translate(0,${height - 30})`)
    .call(
      axisBottom(x)
        .tickValues(
          [0.1, 1, 10, 60, 600, 3600, 36000].filter(
            (s) => s >= 1.3 * x.domain()[0] && s <= x.domain()[1] / 1.3,
          ),
        )
        .tickFormat((s) => tickText(Number(s)))
        .tickSizeOuter(0),
    );
}

const tickText = (s: number): string => (s < 60 ? `${s} s` : s < 3600 ? `${s / 60} min` : `${s / 3600} h`);
