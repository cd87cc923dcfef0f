import { median, robustSigma } from '../math/robust.ts';
import type { Mark, RunPoint } from '../protocol/run.ts';
import { airmass } from '../rig/air.ts';
import { DARK_DEG } from '../rig/sky-clock.ts';
import type { Stretch } from './judge-stretch.ts';
import { bestTenth, neighbourMedian, stretches, trendOf } from './trend.ts';

/** Light that clear air takes for each thickness of it: 0.25 magnitudes in V (typical of low sites, common practice). */
const EXTINCTION_MAG = 0.25;
/** A loss of light that is worth a word, and a growth of the halo that tells dew (common practice, no source). */
const LEAST_LOSS = 0.12;
const LEAST_HALO = 0.02;
const SURE = 4;
/** A frame that lets through less than this of what its clear neighbours do has a cloud in it. */
const CLOUDED = 0.8;
/** Cloud comes and goes within this many frames before and after. */
const NEIGHBOURS = 40;

/** Light of the stars, made good for the altitude where that is known. */
export const clearness = ({ brightness, altitudeDeg }: RunPoint): number =>
  brightness === null
    ? NaN
    : brightness *
      (altitudeDeg !== null && altitudeDeg > 3
        ? 10 ** (0.4 * EXTINCTION_MAG * (airmass(altitudeDeg) - 1))
        : 1);

/** Dew or haze: light that is lost evenly and does not come back. */
export function judgeFading(stretch: Stretch, runsOn: boolean): Mark[] {
  const light = stretch.points.map(clearness);
  const trend = trendOf(stretch.minutes, light);
  if (!trend || !trend.steady || trend.significance < SURE) return [];
  const loss = 1 - trend.to / trend.from;
  // A cloud tears: its light jumps from frame to frame by more than a third of what is lost in all.
  if (loss < LEAST_LOSS || trend.scatter > (loss * trend.from) / 3) return [];
  const from = stretch.from + onset(light, trend.scatter);
  const halo = trendOf(
    stretch.minutes,
    stretch.points.map((point) => point.halo ?? NaN),
  );
  const grows =
    halo !== null && halo.steady && halo.significance > SURE && halo.to / halo.from - 1 > LEAST_HALO;
  const lost = `The same stars lost ${Math.round(100 * loss)} % of their light, evenly, and it does not come back`;
  const place = { from, to: stretch.to, lasting: runsOn };
  if (grows)
    return [
      {
        kind: 'dew',
        ...place,
        says: runsOn ? 'Dew is settling on the optics.' : 'Dew settled on the optics.',
        because: `${lost}, while their halo grew by ${Math.round(100 * (halo.to / halo.from - 1))} %.`,
        doThis:
          'Warm the secondary or the front lens (heater, or a hair dryer from a distance). Never wipe a mirror.',
      },
    ];
  return [
    {
      kind: 'haze',
      ...place,
      says: runsOn ? 'Haze is thickening, or dew begins.' : 'Haze thickened, or dew began.',
      because: `${lost}; their halo did not grow so far.`,
      doThis: 'Look at the mirror and the secondary with a dim red lamp: if they are dry, it is the sky.',
    },
  ];
}

/** First place from which the light stays below what the beginning had. */
function onset(light: number[], scatter: number): number {
  const start = median(light.slice(0, Math.max(3, Math.floor(light.length / 6))));
  let at = light.length - 1;
  while (at > 0 && !(light[at] > start - scatter)) at--;
  return at;
}

/** Clouds: light or stars missing for some frames. `fading` are stretches that dew or haze explains. */
export function judgeClouds(points: readonly RunPoint[], fading: readonly Mark[]): Mark[] {
  const light = points.map(clearness);
  const stars = points.map((point) => (point.fault === null ? point.stars : 0));
  const usualStars = neighbourMedian(stars, NEIGHBOURS);
  const clear = light.map((_, i) =>
    bestTenth(light.slice(Math.max(0, i - NEIGHBOURS), i + NEIGHBOURS + 1), 'high'),
  );
  const explained = (i: number) => fading.some(({ from, to }) => i >= from && i <= to);
  const enough = bestTenth(stars, 'high') >= 5;
  const clouded = (i: number): boolean => {
    if (!enough || explained(i)) return false;
    if (Number.isFinite(light[i])) return light[i] < CLOUDED * clear[i];
    return stars[i] < 0.5 * Math.max(usualStars[i], 0.5 * bestTenth(stars, 'high'));
  };
  return stretches(points.length, clouded, 2).map(([from, to]) => {
    const inside = light.slice(from, to + 1).filter((value) => Number.isFinite(value));
    const lost = inside.length > 0 ? 1 - Math.min(...inside) / clear[from] : null;
    const lasting = to >= points.length - 2;
    return {
      kind: 'cloud' as const,
      from,
      to,
      lasting,
      says: lasting ? 'Cloud is over it.' : from === to ? 'A cloud passed.' : 'Clouds passed.',
      because:
        lost === null
          ? 'The stars of these frames are gone, and came back or not by themselves.'
          : `Up to ${Math.round(100 * Math.min(1, lost))} % of the stars' light was missing, unevenly from frame to frame${skyWords(points, from, to)}.`,
      doThis: lasting ? 'Look up. If it stays, cover the tube and wait.' : null,
    };
  });
}

/** Clouds over a town light up, clouds over a dark place hide the sky's glow. */
function skyWords(points: readonly RunPoint[], from: number, to: number): string {
  const level = (list: readonly RunPoint[]) => median(list.map(({ skyAdu }) => skyAdu ?? NaN));
  const inside = level(points.slice(from, to + 1));
  const around = [...points.slice(Math.max(0, from - 10), from), ...points.slice(to + 1, to + 11)];
  const change = inside - level(around);
  const scatter = robustSigma(around.map(({ skyAdu }) => skyAdu ?? NaN));
  if (!(Math.abs(change) > 5 * scatter)) return '';
  return change > 0 ? ', and the sky was brighter' : ', and the sky was darker';
}

/** The noise of the sky must grow by this too: a camera that warms up lifts the level alone. */
const LEAST_NOISE_GROWTH = 1.05;

/** A sky that brightens towards the run's end or darkens at its beginning. */
export function judgeSkyLight(points: readonly RunPoint[]): Mark[] {
  return (['end', 'beginning'] as const).flatMap((side) => brightSide(points, side));
}

function brightSide(points: readonly RunPoint[], side: 'end' | 'beginning'): Mark[] {
  const n = points.length;
  if (n < 8) return [];
  const inOrder = side === 'end' ? points : [...points].reverse();
  const level = inOrder.map(({ skyAdu }) => skyAdu ?? NaN);
  const base = bestTenth(level, 'low');
  const scatter =
    robustSigma(
      level.slice(1).map((value, i) => value - level[i]),
      0,
    ) / Math.SQRT2;
  // Back from the bright end to where the sky was still at its floor.
  let from = n - 1;
  const rise = level[n - 1] - base;
  while (from > 0 && level[from - 1] < level[from] + 2 * scatter && level[from] - base > 0.1 * rise) from--;
  const noise = (point: RunPoint) => point.noiseAdu ?? NaN;
  const quiet = bestTenth(inOrder.map(noise), 'low');
  if (n - 1 - from < 3 || !(rise > 8 * scatter) || !(noise(inOrder[n - 1]) > LEAST_NOISE_GROWTH * quiet))
    return [];
  const sun = inOrder[n - 1].sunAltitudeDeg;
  const place = side === 'end' ? { from, to: n - 1 } : { from: 0, to: n - 1 - from };
  const lasting = side === 'end';
  const grew = `The noise of the sky is ${(noise(inOrder[n - 1]) / quiet).toFixed(1)} times that of the dark frames`;
  if (sun !== null && sun < DARK_DEG)
    return [
      {
        kind: 'sky-light',
        ...place,
        lasting,
        says: lasting
          ? 'The sky is getting brighter: the Moon, or lights.'
          : 'The sky was bright at first: the Moon, or lights.',
        because: `${grew}, though the Sun stands ${Math.round(-sun)}° below the horizon.`,
        doThis: lasting
          ? 'Shield the tube from the side the light comes from, or turn to the other half of the sky.'
          : null,
      },
    ];
  const name = side === 'end' ? 'Dawn' : 'Dusk';
  return [
    {
      kind: 'twilight',
      ...place,
      lasting,
      says:
        sun === null
          ? `${name}, or the Moon, lights the sky.`
          : side === 'end'
            ? 'Dawn is coming.'
            : 'The run began in dusk.',
      because:
        sun === null
          ? `${grew}.`
          : `${grew}; the Sun stands ${Math.abs(Math.round(sun))}° ${sun < 0 ? 'below' : 'above'} the horizon.`,
      doThis: lasting ? 'Take the last darks and flats, and cap tube and finder before the Sun is up.' : null,
    },
  ];
}
