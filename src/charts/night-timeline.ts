import {
  axisLeft,
  line,
  max,
  median,
  min,
  quantile,
  scaleLinear,
  scaleTime,
  select,
  type Selection,
} from 'd3';

export interface TimelineLane {
  name: string;
  title: string;
  lines: { values: number[]; dashed: boolean }[];
  limit: number | null;
  decimals: number;
}
export interface TimelineMark {
  from: number;
  to: number;
  letter: string;
  name: string;
}
export interface TimelineData {
  /** Milliseconds, ascending, one per frame. */
  timesMs: number[];
  kept: boolean[];
  lanes: TimelineLane[];
  marks: TimelineMark[];
  selected: number | null;
}
export interface TimelineOptions {
  availableWidth: number;
  laneHeight: number;
  label: string;
}

const MARGIN = { left: 46, right: 10, bottom: 30 };
const RAIL_ROW = 24;
const TITLE = 30;
/** A break longer than this share of the run, and than so many steps, would squeeze the rest: then frames stand evenly. */
const LONGEST_BREAK = 0.3;
const LONGEST_STEPS = 5;

/** Place of each frame along the run, px within the plot. */
export function timelinePlaces(timesMs: number[], width: number): { at: number[]; even: boolean } {
  const [first, last] = [timesMs[0], timesMs[timesMs.length - 1]];
  const breaks = timesMs.slice(1).map((time, i) => time - timesMs[i]);
  const longest = Math.max(...breaks, 0);
  const even =
    !(last > first) ||
    (longest > LONGEST_BREAK * (last - first) && longest > LONGEST_STEPS * (median(breaks) ?? 0));
  const scale = even
    ? scaleLinear([0, Math.max(1, timesMs.length - 1)], [6, width - 6])
    : scaleLinear([first, last], [6, width - 6]);
  return { at: timesMs.map((time, i) => scale(even ? i : time)), even };
}

/** The frame nearest to a place on the drawing, for a finger or a mouse. */
export function frameAt(timesMs: number[], availableWidth: number, xPx: number): number {
  const { at } = timelinePlaces(timesMs, availableWidth - MARGIN.left - MARGIN.right);
  let best = 0;
  at.forEach((place, i) => {
    if (Math.abs(place - xPx + MARGIN.left) < Math.abs(at[best] - xPx + MARGIN.left)) best = i;
  });
  return best;
}

/** Rows of the rail on top, so that names do not run into each other. */
export function railRows(spans: { start: number; end: number }[]): number[] {
  const ends: number[] = [];
  return spans.map(({ start, end }) => {
    const free = ends.findIndex((taken) => taken < start);
    const row = free < 0 ? ends.length : free;
    ends[row] = end;
    return row;
  });
}

/**
 * The night as a score: time runs to the right, one lane for each quantity, what happened on the rail above and as a
 * tint through all lanes. Frames that stay are dots, frames left out are small crosses, a limit is a dashed line.
 */
export function drawTimeline(element: SVGSVGElement, data: TimelineData, options: TimelineOptions): void {
  const width = options.availableWidth - MARGIN.left - MARGIN.right;
  const { at, even } = timelinePlaces(data.timesMs, width);
  const gap = at.length > 1 ? width / at.length : width;
  const spans = data.marks.map(({ from, to, letter, name }) => {
    const [left, right] = [at[from] - Math.min(gap / 2, 5), at[to] + Math.min(gap / 2, 5)];
    const words = 7.2 * (letter.length + name.length + 2);
    const start = Math.min(left, Math.max(0, width - words));
    return { left, right: Math.max(right, left + 4), start, end: Math.max(right, start + words) };
  });
  const rows = railRows(spans);
  const rail = (rows.length > 0 ? Math.max(...rows) + 1 : 0) * RAIL_ROW;
  const step = options.laneHeight + TITLE;
  const height = rail + data.lanes.length * step + MARGIN.bottom;
  const svg = select(element)
    .attr('width', options.availableWidth)
    .attr('height', height)
    .attr('role', 'img')
    .attr('aria-label', options.label);
  svg.selectAll('*').remove();
  const plot = svg.append('g').attr('transform', `translate(${MARGIN.left},0)`);
  const floor = height - MARGIN.bottom;
  data.marks.forEach(({ letter, name }, i) => {
    const { left, right, start } = spans[i];
    const y = rows[i] * RAIL_ROW;
    plot
      .append('rect')
      .attr('class', 'night-span')
      .attr('x', left)
      .attr('y', rail)
      .attr('width', right - left)
      .attr('height', floor - rail);
    plot
      .append('path')
      .attr('class', 'night-bracket')
      .attr('d', `M${left},${y + 24}V${y + 19}H${right}V${y + 24}`);
    const words = plot
      .append('text')
      .attr('class', 'night-name')
      .attr('x', start)
      .attr('y', y + 14);
    words.append('tspan').attr('class', 'night-letter').text(letter);
    words.append('tspan').attr('dx', 5).text(name);
  });
  if (data.selected !== null)
    plot.append('path').attr('class', 'night-selected').attr('d', `M${at[data.selected]},${rail}V${floor}`);
  data.lanes.forEach((lane, i) => {
    const group = plot.append('g').attr('transform', `translate(0,${rail + i * step + TITLE})`);
    drawLane(group, lane, {
      at,
      kept: data.kept,
      width,
      height: options.laneHeight,
      selected: data.selected,
    });
  });
  timeAxis(plot.append('g').attr('transform', `translate(0,${floor})`), data.timesMs, at, even, width);
}

type Group = Selection<SVGGElement, unknown, null, undefined>;
interface LaneSpace {
  at: number[];
  kept: boolean[];
  width: number;
  height: number;
  selected: number | null;
}

function drawLane(group: Group, lane: TimelineLane, { at, kept, width, height, selected }: LaneSpace): void {
  const scale = laneScale(lane, height);
  const inside = (value: number) => Math.max(2, Math.min(height - 2, scale(value)));
  group.append('text').attr('class', 'night-title').attr('y', -8).text(lane.title);
  group.append('path').attr('class', 'night-floor').attr('d', `M0,${height}H${width}`);
  group
    .append('g')
    .attr('class', 'axis')
    .call(
      axisLeft(scale)
        .ticks(3)
        .tickSize(3)
        .tickFormat((value) =>
          value
            .valueOf()
            .toFixed(tickDecimals(scale.ticks(3), lane.decimals))
            .replace('-', '−'),
        ),
    );
  if (lane.limit !== null && scale(lane.limit) >= 0 && scale(lane.limit) <= height)
    group
      .append('path')
      .attr('class', 'night-limit')
      .attr('d', `M0,${scale(lane.limit)}H${width}`);
  for (const { values, dashed } of lane.lines) {
    const known = (_: unknown, i: number) => Number.isFinite(values[i]);
    group
      .append('path')
      .attr('class', dashed ? 'night-line dashed' : 'night-line')
      .attr(
        'd',
        line<number>(
          (_, i) => at[i],
          (value) => inside(value),
        ).defined(known)(values),
      );
    const places = (wanted: boolean) =>
      values.flatMap((value, i) =>
        Number.isFinite(value) && kept[i] === wanted ? [[at[i], inside(value)]] : [],
      );
    const size = values.length > 400 ? 2.4 : 4.5;
    group
      .append('path')
      .attr('class', 'night-kept')
      .attr('stroke-width', size)
      .attr(
        'd',
        places(true)
          .map(([x, y]) => `M${x},${y}h0`)
          .join(''),
      );
    const arm = values.length > 400 ? 2 : 3.2;
    group
      .append('path')
      .attr('class', 'night-dropped')
      .attr(
        'd',
        places(false)
          .map(
            ([x, y]) => `M${x - arm},${y - arm}l${2 * arm},${2 * arm}m0,${-2 * arm}l${-2 * arm},${2 * arm}`,
          )
          .join(''),
      );
    if (selected !== null && Number.isFinite(values[selected]))
      group
        .append('circle')
        .attr('class', 'night-ring')
        .attr('cx', at[selected])
        .attr('cy', inside(values[selected]))
        .attr('r', 6);
  }
}

/** The middle 98 % of the values and the limit; single wild ones are drawn at the edge. */
function laneScale({ lines, limit, name }: TimelineLane, height: number) {
  const values = lines
    .flatMap(({ values: all }) => all.filter((value) => Number.isFinite(value)))
    .sort((a, b) => a - b);
  let low = quantile(values, 0.01)!;
  let high = quantile(values, 0.99)!;
  if (limit !== null && limit < high + 1.5 * (high - low)) high = Math.max(high, limit);
  if (limit !== null && limit > low - 1.5 * (high - low)) low = Math.min(low, limit);
  if (name === 'stars' || name === 'light') low = Math.min(low, 0);
  const least =
    name === 'elongation'
      ? 0.2
      : name === 'place'
        ? 4
        : name === 'size'
          ? 0.5
          : Math.max(1, 0.02 * Math.abs(high));
  const room = Math.max(0.12 * (high - low), (least - (high - low)) / 2, 0);
  const start =
    name === 'stars' || name === 'light' ? low : name === 'elongation' ? Math.max(1, low - room) : low - room;
  return scaleLinear([start, high + room], [height, 0]);
}

const tickDecimals = (ticks: number[], least: number): number => {
  const step = ticks.length > 1 ? ticks[1] - ticks[0] : 1;
  return Math.max(least, step < 0.1 ? 2 : step < 1 ? 1 : 0);
};

function timeAxis(group: Group, timesMs: number[], at: number[], even: boolean, width: number): void {
  const clock = (time: number) => {
    const date = new Date(time);
    return `${String(date.getHours()).padStart(2, '0')}:${String(date.getMinutes()).padStart(2, '0')}`;
  };
  const most = Math.max(2, Math.floor(width / 80));
  const scale = scaleTime([min(timesMs)!, max(timesMs)!], [at[0], at[at.length - 1]]);
  const shown = Math.min(most, at.length);
  const times = even
    ? Array.from({ length: shown }, (_, k) => {
        const i = Math.round((k * (at.length - 1)) / Math.max(1, shown - 1));
        return { x: at[i], text: clock(timesMs[i]) };
      })
    : scale.ticks(most).map((tick) => ({ x: scale(tick), text: clock(tick.valueOf()) }));
  for (const { x, text } of times.filter(({ text }, i) => text !== times[i - 1]?.text)) {
    group.append('path').attr('class', 'night-floor').attr('d', `M${x},0v5`);
    group.append('text').attr('class', 'night-time').attr('x', x).attr('y', 19).text(text);
  }
}
