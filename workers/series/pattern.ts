import { fromTwoPoints, mapX, mapY, scaleOf, type Similarity } from './similarity.ts';
import { NearestStar, type StarPlaces } from './star-places.ts';

/**
 * Finds how one star pattern lies on another, knowing nothing of it: each pair of bright stars of one is laid on each
 * pair of the other that has the same length, turned either way and mirrored or not, and the stars that then meet are
 * counted. Lengths survive turns, flips and shifts, so only the common scale must be known (or be searched for as well).
 */

/** How near a star must come to count, px: what a lens's distortion and the air may move it. */
export const MEET_PX = 3;
/** Bright stars whose pairs are tried. */
const BRIGHT = 36;
/** ... and when the scale is free, because then any length goes with any other. */
const BRIGHT_FREE = 12;
/** Lengths may differ by a share of themselves: temperature, focus, refraction. */
const LENGTH_SHARE = 0.003;
/** Chance that a pattern found is none: the product of chance per trial and number of trials stays below this. */
const MOST_CHANCE = 1e-4;
/** A trial is given up when fewer than so many of the first so many stars meet: most trials end here. */
const FIRST_LOOK = { stars: 20, meet: 4 };
/** A pattern with this share of the bright stars is beyond doubt. */
const ENOUGH_SHARE = 0.6;

/**
 * The mapping from `map` to `frame`, or null when no pattern is beyond chance. `freeScale` looks for another scale than 1
 * among the brightest few.
 */
export function findPattern(map: StarPlaces, frame: StarPlaces, freeScale = false): Similarity | null {
  const bright = freeScale ? BRIGHT_FREE : BRIGHT;
  const ours = pairsOf(map, bright);
  const theirs = pairsOf(frame, bright).sort((p, q) => p.rank - q.rank);
  ours.sort((p, q) => p.length - q.length);
  const lengths = Float64Array.from(ours, (pair) => pair.length);
  const sky = new NearestStar(frame, MEET_PX);
  const tried = Math.min(map.x.length, 2 * bright);
  const enough = Math.max(8, ENOUGH_SHARE * Math.min(tried, frame.x.length));
  let best: Similarity | null = null;
  let bestCount = 0;
  let trials = 0;
  for (const pair of theirs) {
    const slack = MEET_PX + LENGTH_SHARE * pair.length;
    const from = freeScale ? 0 : lowerBound(lengths, pair.length - slack);
    for (let i = from; i < ours.length && (freeScale || lengths[i] <= pair.length + slack); i++)
      for (let way = 0; way < 4; way++) {
        const [p, q] = way & 1 ? [pair.b, pair.a] : [pair.a, pair.b];
        const trial = fromTwoPoints(
          at(map, ours[i].a),
          at(map, ours[i].b),
          at(frame, p),
          at(frame, q),
          way > 1,
        );
        if (freeScale && !(scaleOf(trial) > 0.2 && scaleOf(trial) < 5)) continue;
        trials++;
        const count = meeting(trial, map, sky, tried, bestCount);
        if (count <= bestCount) continue;
        bestCount = count;
        best = trial;
      }
    if (bestCount >= enough) break;
  }
  return best && chanceOf(bestCount, tried, sky) * trials < MOST_CHANCE ? best : null;
}

/** Whether a mapping that was expected holds: more stars meet than chance allows, and most that could. */
export function holds(mapping: Similarity, map: StarPlaces, frame: StarPlaces): boolean {
  const sky = new NearestStar(frame, MEET_PX);
  const tried = Math.min(map.x.length, 2 * BRIGHT);
  const count = meeting(mapping, map, sky, tried, -1);
  return count >= ENOUGH_SHARE * Math.min(tried, frame.x.length) && chanceOf(count, tried, sky) < MOST_CHANCE;
}

/** How many of the first `tried` stars of `map` come to lie on a star; gives up when `atLeast` is out of reach. */
function meeting(
  mapping: Similarity,
  map: StarPlaces,
  sky: NearestStar,
  tried: number,
  atLeast: number,
): number {
  let count = 0;
  for (let i = 0; i < tried; i++) {
    if (count + tried - i <= atLeast) return count;
    if (i === FIRST_LOOK.stars && count < FIRST_LOOK.meet) return count;
    if (sky.at(mapX(mapping, map.x[i], map.y[i]), mapY(mapping, map.x[i], map.y[i])) >= 0) count++;
  }
  return count;
}

/**
 * Chance that `count` of `tried` stars meet one at random, the two that made the mapping not counted: Chernoff's bound
 * of the Poisson law, P(N >= k) <= exp(-m) (e m / k)^k for k > m.
 */
function chanceOf(count: number, tried: number, sky: NearestStar): number {
  const hit = Math.min(1, (sky.stars.x.length * Math.PI * MEET_PX ** 2) / sky.areaPx2);
  const mean = Math.max(tried - 2, 0) * hit;
  const k = count - 2;
  return k > mean ? Math.exp(k - mean + k * Math.log(Math.max(mean, 1e-300) / k)) : 1;
}

interface Pair {
  a: number;
  b: number;
  length: number;
  /** Small for two bright stars. */
  rank: number;
}

/** Pairs among the brightest; those too close fix the turn badly and are left out where there are longer ones. */
function pairsOf(stars: StarPlaces, bright: number): Pair[] {
  const count = Math.min(stars.x.length, bright);
  const pairs: Pair[] = [];
  for (let a = 0; a < count; a++)
    for (let b = a + 1; b < count; b++) {
      const length = Math.hypot(stars.x[a] - stars.x[b], stars.y[a] - stars.y[b]);
      pairs.push({ a, b, length, rank: a + b });
    }
  const longest = pairs.reduce((most, pair) => Math.max(most, pair.length), 0);
  return pairs.filter((pair) => pair.length > longest / 8);
}

const at = (stars: StarPlaces, i: number): [number, number] => [stars.x[i], stars.y[i]];

function lowerBound(sorted: Float64Array, value: number): number {
  let [low, high] = [0, sorted.length];
  while (low < high) {
    const middle = (low + high) >> 1;
    if (sorted[middle] < value) low = middle + 1;
    else high = middle;
  }
  return low;
}
