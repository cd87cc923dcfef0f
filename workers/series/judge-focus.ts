import { median, robustSigma } from '../math/robust.ts';
import type { Mark, RunPoint } from '../protocol/run.ts';
import { airmass } from '../rig/air.ts';
import { plain } from '../rig/plain-number.ts';
import type { Stretch } from './judge-stretch.ts';
import { lnGrowthOdds } from './steady-growth.ts';
import { neighbourMedian, rankCorrelation, trendOf, type Trend } from './trend.ts';

/** Growth of the stars that is worth a word, and how sure it must be (common practice, no source). */
const LEAST_GROWTH = 0.08;
const SURE = 4;
/**
 * One night in twenty of mere wandering may look as much like a change that goes one way. Averaged over all airs that is a
 * factor of 20. In the air that looks most like it, one that walks without return by a third to the whole of what single
 * frames scatter, it is 37; more in fewer than 18 frames, less in calm air and in long runs, which tell a wander better. Drawn
 * walks of 8 to 240 frames, scatters of 0.5 to 9 %, steps of 0.3 to 9 %, 800 nights of each.
 */
function lnOddsNeeded(frames: number, scatter: number): number {
  const few = Math.max(1, 18 / frames) ** 0.4;
  const many = Math.min(1, 60 / frames) ** 0.13;
  const calm = Math.min(1, scatter / 0.045) ** (0.3 * Math.min(1, Math.max(0, (frames - 14) / 16)));
  return Math.log(37) * few * many * calm;
}
/** What single frames scatter about those beside them, over their size. */
function scatterOf(sizes: readonly number[]): number {
  const usual = neighbourMedian(sizes, NEIGHBOURS);
  const off = sizes.map((value, i) => value / usual[i] - 1).filter(Number.isFinite);
  return robustSigma(off, 0);
}
const NEIGHBOURS = 5;
/** A mirror of the usual thickness follows the air within about an hour (common practice, no source). */
const COOLING_MIN = 75;
/** A tube of metal and a fast mirror notice a degree. */
const LEAST_CELSIUS = 1;
const CORRELATED = 0.75;
/** Kolmogorov's air: FWHM grows with airmass^0.6 (Roddier 1981, Progress in Optics 19). */
const AIR_POWER = 0.6;

/** What widens or narrows the stars over a stretch: the air's depth, warmth, a mirror that cools, focus. */
export function judgeFocus(stretch: Stretch, size: 'fwhmPx' | 'hfdPx', runsOn: boolean): Mark[] {
  const sizes = stretch.points.map((point) => point[size]?.value ?? NaN);
  const cooling = narrowing(stretch, sizes);
  if (cooling.length) return cooling;
  const trend = evenTrend(stretch.minutes, sizes);
  if (!trend) return [];
  const known = stretch.points.filter(({ altitudeDeg }) => altitudeDeg !== null).length >= 6;
  const air = stretch.points.map(airWidth);
  const place = { from: stretch.from, to: stretch.to, lasting: runsOn };
  const without = sizes.map((value, i) => value / air[i]);
  const left = known ? evenTrend(stretch.minutes, without) : trend;
  if (!left) return [byAltitude(stretch, trend, place)];
  return left.to > left.from ? [growing(stretch, sizes, left, place)] : [];
}

/** A change that is large enough, goes one way, and is no wandering of the air. */
function evenTrend(minutes: number[], sizes: number[]): Trend | null {
  const trend = trendOf(minutes, sizes);
  if (!trend || !trend.steady || trend.significance < SURE) return null;
  if (Math.abs(trend.to / trend.from - 1) < LEAST_GROWTH) return null;
  return lnGrowthOdds(minutes, sizes) > lnOddsNeeded(trend.count, scatterOf(sizes)) ? trend : null;
}

/** How much wider the air alone makes the stars than overhead; NaN where the altitude is not known. */
const airWidth = ({ altitudeDeg }: RunPoint): number =>
  altitudeDeg !== null && altitudeDeg > 3 ? airmass(altitudeDeg) ** AIR_POWER : NaN;

type Place = Pick<Mark, 'from' | 'to' | 'lasting'>;
const percent = (ratio: number): string => `${Math.round(100 * Math.abs(ratio - 1))} %`;

function byAltitude(stretch: Stretch, trend: Trend, place: Place): Mark {
  const altitudes = stretch.points.flatMap(({ altitudeDeg }) => altitudeDeg ?? []);
  const [first, last] = [altitudes[0], altitudes[altitudes.length - 1]];
  const sinks = last < first;
  return {
    kind: 'altitude',
    ...place,
    says: sinks
      ? 'The target sinks, and the air widens its stars.'
      : 'The target climbs, and its stars get finer.',
    because: `From ${Math.round(first)}° to ${Math.round(last)}° of altitude the stars ${sinks ? 'grew' : 'shrank'} by ${percent(trend.to / trend.from)}; the longer way through the air explains it.`,
    doThis: sinks && last < 35 ? 'Take a target that stands higher: no focusing helps against air.' : null,
  };
}

/** Stars that get finer early in the run: a mirror that gives off its warmth. */
function narrowing(stretch: Stretch, sizes: number[]): Mark[] {
  if (stretch.from > 0 || stretch.minutes[0] > COOLING_MIN / 3) return [];
  const end = stretch.minutes.findIndex((at) => at > COOLING_MIN);
  const to = end < 0 ? sizes.length - 1 : end - 1;
  const within = trendOf(stretch.minutes.slice(0, to + 1), sizes.slice(0, to + 1));
  if (!within || within.to >= within.from) return [];
  const air = stretch.points.slice(0, to + 1).map(airWidth);
  const known = air.some((width) => Number.isFinite(width));
  const own = known ? sizes.slice(0, to + 1).map((value, i) => value / air[i]) : sizes.slice(0, to + 1);
  if (!evenTrend(stretch.minutes.slice(0, to + 1), own)) return [];
  const lasting = to === sizes.length - 1;
  return [
    {
      kind: 'mirror-cooling',
      from: stretch.from,
      to: stretch.from + to,
      lasting,
      says: 'The mirror was cooling down.',
      because: `In the first ${Math.round(stretch.minutes[to])} minutes the stars got ${percent(within.to / within.from)} finer by themselves, with nobody at the focuser.`,
      doThis: lasting
        ? 'Give the tube more time in the open, and focus again when the stars no longer change.'
        : 'Next time put the tube outside an hour earlier, and focus after that.',
    },
  ];
}

function growing(stretch: Stretch, sizes: number[], trend: Trend, place: Place): Mark {
  const warmth = stretch.points.map(({ temperatureC }) => temperatureC ?? NaN);
  const known = warmth.filter((value) => Number.isFinite(value));
  const range = known.length > 3 ? Math.max(...known) - Math.min(...known) : 0;
  const follows = Math.abs(rankCorrelation(warmth, sizes)) > CORRELATED;
  const grew = `The stars grew by ${percent(trend.to / trend.from)} in ${Math.round(stretch.minutes.at(-1)! - stretch.minutes[0])} minutes, evenly`;
  if (range >= LEAST_CELSIUS && follows) {
    const [first, last] = [median(known.slice(0, 3)), median(known.slice(-3))];
    return {
      kind: 'focus-temperature',
      ...place,
      says: place.lasting ? 'Focus is moving with the temperature.' : 'Focus moved with the temperature.',
      because: `${grew}, while it went from ${plain(first, 1)} to ${plain(last, 1)} °C and the focuser was not touched.`,
      doThis: `Focus again now, and then after every ${Math.max(1, Math.round(Math.abs(last - first) / 2))} °C.`,
    };
  }
  return {
    kind: 'focus-creep',
    ...place,
    says: place.lasting ? 'Focus is creeping out.' : 'Focus crept out.',
    because: `${grew}: air comes and goes, a focus that slips or cools goes one way.`,
    doThis: 'Focus again, and look whether the focuser is clamped.',
  };
}
