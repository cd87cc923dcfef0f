import { median, robustSigma } from '../math/robust.ts';
import type { Mark, RunPlace, RunPoint } from '../protocol/run.ts';
import { minutesOf } from './judge-stretch.ts';
import { neighbourMedian, stretches, trendOf } from './trend.ts';

const NEIGHBOURS = 5;
/** A frame stands out when it is longer or wider than its neighbours by this and by many times their scatter. */
const LONGER = 0.12;
const WIDER = 0.2;
const STANDS_OUT = 5;
/** More frames than this share standing out: the wind is the weather of the run, no single event. */
const WINDY = 0.2;

/** Frames that differ from those before and after for a moment. `clouded` frames are spoken for. */
export function judgeGusts(points: readonly RunPoint[], clouded: (i: number) => boolean): Mark[] {
  const long = outliers(
    points.map(({ elongation }) => elongation?.value ?? NaN),
    () => LONGER,
  );
  const wide = outliers(
    points.map((point) => (point.hfdPx ?? point.fwhmPx)?.value ?? NaN),
    (usual) => WIDER * usual,
  );
  const hit = (i: number) => !clouded(i) && (long[i] || wide[i]);
  const count = points.filter((_, i) => hit(i)).length;
  const groups = stretches(points.length, hit).filter(([from, to]) => to - from <= 2);
  if (count > WINDY * points.length && groups.length >= 3) {
    const [from, to] = [groups[0][0], groups.at(-1)![1]];
    const lasting = to >= points.length - 4;
    return [
      {
        kind: 'gust',
        from,
        to,
        lasting,
        says: lasting ? 'Wind shakes the mount.' : 'Wind shook the mount.',
        because: `${count} of ${points.length} frames stand out from those before and after, each in its own way.`,
        doThis: 'Expose shorter and keep the good ones, lower the tripod, or stand between wind and tube.',
      },
    ];
  }
  return groups.map(([from, to]) => ({
    kind: 'gust' as const,
    from,
    to,
    lasting: false,
    says: from === to ? 'A gust or a knock hit one frame.' : `A gust or a knock hit ${to - from + 1} frames.`,
    because: `Stars ${long[from] ? 'longer' : 'wider'} than in the frames before and after, which agree with each other.`,
    doThis: null,
  }));
}

function outliers(values: number[], least: (usual: number) => number): boolean[] {
  const usual = neighbourMedian(values, NEIGHBOURS);
  const over = values.map((value, i) => value - usual[i]);
  const scatter = robustSigma(over, median(over));
  return over.map((value, i) => value > Math.max(STANDS_OUT * scatter, least(usual[i])));
}

/** A step is large beyond this many px and many times the usual one. */
const LEAST_STEP_PX = 4;
const STEP_SIGMAS = 8;
/** More steps than this share are large: the pointing is moved on purpose between frames. */
const DITHERED = 0.15;
/** The field is leaving when less of the first frame than this is left. */
const LEAST_OVERLAP = 0.8;

/** What happened to the field's place: pier side, pulls and slips, the target leaving, a slow drift. */
export function judgePlaces(points: readonly RunPoint[]): Mark[] {
  const placed = points
    .map((point, i) => ({ i, at: point.place, minutes: minutesOf(points)[i] }))
    .filter((each): each is Placed => each.at !== null);
  if (placed.length < 2) return pierSides(points);
  const steps = stepsOf(placed);
  const usual = median(steps.map(({ px }) => px));
  const large = steps.filter(({ px }) => px > Math.max(LEAST_STEP_PX, STEP_SIGMAS * usual));
  const dithered = large.length > DITHERED * steps.length || usual > LEAST_STEP_PX;
  return [
    ...pierSides(points),
    ...(dithered ? [] : large.flatMap((step) => snag(placed, step, points.length))),
    ...leaving(placed, points.length),
    ...(dithered || large.length > 0 ? [] : slowDrift(placed, points.length)),
  ];
}

interface Placed {
  i: number;
  at: RunPlace;
  minutes: number;
}
interface Step {
  /** Index in the list of placed frames of the frame after the step. */
  after: number;
  px: number;
}

/** Steps between placed frames, the even drift taken out. */
function stepsOf(placed: Placed[]): Step[] {
  const all = placed.slice(1).map(({ at }, k) => ({
    dx: at.xPx - placed[k].at.xPx,
    dy: at.yPx - placed[k].at.yPx,
    flips: at.flipped !== placed[k].at.flipped,
    after: k + 1,
  }));
  const [dx, dy] = [median(all.map((step) => step.dx)), median(all.map((step) => step.dy))];
  return all
    .filter(({ flips }) => !flips)
    .map((step) => ({ after: step.after, px: Math.hypot(step.dx - dx, step.dy - dy) }));
}

function pierSides(points: readonly RunPoint[]): Mark[] {
  const found: Mark[] = [];
  for (let i = 1; i < points.length; i++) {
    const [before, after] = [points[i - 1], points[i]];
    const told = before.pierSide !== null && after.pierSide !== null && before.pierSide !== after.pierSide;
    const turned =
      before.place !== null && after.place !== null && before.place.flipped !== after.place.flipped;
    if (!told && !turned) continue;
    found.push({
      kind: 'pier-side',
      from: i,
      to: i,
      lasting: false,
      says: 'The mount changed the side of the pier.',
      because: turned
        ? 'From this frame on the field stands on its head.'
        : 'The frames say so; the field itself was not seen to turn.',
      doThis:
        'Check focus, and that the star field sits where it was: everything hangs the other way round now.',
    });
  }
  return found;
}

/** A jump that stays: a cable, a clutch, a foot. One that returns with the next frame is a gust's. */
function snag(placed: Placed[], { after }: Step, total: number): Mark[] {
  const mean = (list: Placed[]) => [
    median(list.map(({ at }) => at.xPx)),
    median(list.map(({ at }) => at.yPx)),
  ];
  const before = mean(placed.slice(Math.max(0, after - 3), after));
  const later = placed.slice(after + 1, after + 4);
  const jumped = Math.hypot(placed[after].at.xPx - before[0], placed[after].at.yPx - before[1]);
  if (later.length > 0) {
    const [x, y] = mean(later);
    if (Math.hypot(x - before[0], y - before[1]) < 0.4 * jumped) return [];
  }
  const { i } = placed[after];
  return [
    {
      kind: 'snag',
      from: i,
      to: i,
      lasting: i >= total - 3,
      says: 'Something pulled the mount.',
      because: `The field jumped by ${Math.round(jumped)} px between two frames and stayed there.`,
      doThis: 'Look whether a cable is caught or hangs free, and whether a clutch slipped.',
    },
  ];
}

function leaving(placed: Placed[], total: number): Mark[] {
  const overlap = ({ at }: Placed) =>
    Math.max(0, 1 - Math.abs(at.xPx) / at.widthPx) * Math.max(0, 1 - Math.abs(at.yPx) / at.heightPx);
  const last = placed[placed.length - 1];
  if (!(overlap(last) < LEAST_OVERLAP) || last.i < total - 5) return [];
  const back = Math.max(0, placed.length - 12);
  if (!(overlap(placed[back]) > overlap(last))) return [];
  const first = placed.findIndex((each) => overlap(each) < (1 + LEAST_OVERLAP) / 2);
  const perMinute =
    (overlap(placed[back]) - overlap(last)) / Math.max(1e-9, last.minutes - placed[back].minutes);
  const left = (overlap(last) - 0.5) / perMinute;
  return [
    {
      kind: 'leaving',
      from: placed[Math.max(0, first)].i,
      to: last.i,
      lasting: true,
      says: 'The target is leaving the frame.',
      because: `${Math.round(100 * overlap(last))} % of the first frame's field is left${left > 1 && left < 600 ? `; in about ${Math.round(left)} min it will be half` : ''}.`,
      doThis: 'Centre the target again.',
    },
  ];
}

/** A whole drift of this much, and this straight, paints the sensor's own pattern as streaks. */
const LEAST_DRIFT_PX = 8;
const STRAIGHT = 0.9;
/** Slower than this a frame, the pattern's steps run into one another. */
const SLOW_PX = 4;

function slowDrift(placed: Placed[], total: number): Mark[] {
  if (placed.length < 8) return [];
  const minutes = placed.map((each) => each.minutes);
  const x = trendOf(
    minutes,
    placed.map(({ at }) => at.xPx),
  );
  const y = trendOf(
    minutes,
    placed.map(({ at }) => at.yPx),
  );
  if (!x || !y) return [];
  const net = Math.hypot(x.to - x.from, y.to - y.from);
  const off = Math.hypot(x.scatter, y.scatter);
  const perFrame = net / (placed.length - 1);
  if (net < LEAST_DRIFT_PX || off > (1 - STRAIGHT) * net || perFrame > SLOW_PX) return [];
  const last = placed[placed.length - 1].i;
  return [
    {
      kind: 'slow-drift',
      from: placed[0].i,
      to: last,
      lasting: last >= total - 3,
      says: 'The field drifts slowly one way.',
      because: `${perFrame < 0.95 ? perFrame.toFixed(1) : Math.round(perFrame)} px a frame, ${Math.round(net)} px in all, straight: in a stack the sensor's own pattern would be drawn into streaks.`,
      doThis: 'Nudge the pointing by ten pixels or more, each time another way, every few frames.',
    },
  ];
}
