import { robustRegression } from '../math/regression.ts';
import { median, robustSigma } from '../math/robust.ts';
import { FLAG } from '../protocol/flags.ts';
import type { SizeScatter } from '../protocol/stamps.ts';
import type { StarTable } from '../protocol/stars.ts';

/** Too faint, cut off or run together: their sizes say nothing of what they are. Those that seem too large count. */
const NOT_FOR_SIZE =
  FLAG.saturated | FLAG.blended | FLAG.edge | FLAG.streak | FLAG.sharp | FLAG.faint | FLAG.unfitted;
const LEAST_SNR = 15;
const MOST_SIZE_ERROR = 0.3;
/** Seven coefficients are taken off; and more objects than these tell no more. */
const COUNT = { least: 20, most: 400 };
const COEFFICIENTS = 7;
/** Each object is held against so many neighbours. */
const NEIGHBOURS = 2;
/** Standard deviation of a median deviation's estimate over that of the usual one (Huber & Ronchetti 2009, ch. 5). */
const MEDIAN_LOSS = 1.65;

/**
 * Optics, air and tracking give all stars of one place one size, whatever their light; galaxies have each their own, and a
 * picture whose brightness was bent has bright stars wider than faint ones. Null with fewer than twenty objects. Places in
 * full-frame pixels of a frame of `widthPx` x `heightPx`.
 */
export function sizeScatter(stars: StarTable, widthPx: number, heightPx: number): SizeScatter | null {
  const usable: number[] = [];
  for (let i = 0; i < stars.count && usable.length < COUNT.most; i++)
    if (
      !(stars.flags[i] & NOT_FOR_SIZE) &&
      stars.snr[i] >= LEAST_SNR &&
      stars.fluxAdu[i] > 0 &&
      stars.fwhmSigmaPx[i] < MOST_SIZE_ERROR * stars.fwhmPx[i]
    )
      usable.push(i);
  const objects = usable.length;
  if (objects < COUNT.least) return null;
  const sizes = usable.map((i) => Math.log(stars.fwhmPx[i]));
  const lights = usable.map((i) => Math.log(stars.fluxAdu[i]));
  const usualLight = median(lights);
  const rows = usable.map((i, n) => {
    const [x, y] = [(2 * stars.xPx[i]) / widthPx - 1, (2 * stars.yPx[i]) / heightPx - 1];
    return [1, x, y, x * x, x * y, y * y, lights[n] - usualLight];
  });
  const field = robustRegression(Float64Array.from(rows.flat()), Float64Array.from(sizes), COEFFICIENTS);
  if (!field) return null;
  const rest = rows.map((row, n) => sizes[n] - row.reduce((sum, v, p) => sum + v * field.coefficients[p], 0));
  const pairs = neighbourPairs(usable.map((i) => [stars.xPx[i], stars.yPx[i]]));
  const noise2 = usable.map((i) => (stars.fwhmSigmaPx[i] / stars.fwhmPx[i]) ** 2);
  const freedom = objects / (objects - COEFFICIENTS);
  const spread2 =
    freedom *
    robustSigma(
      Float64Array.from(pairs, ([i, j]) => rest[i] - rest[j]),
      0,
    ) **
      2;
  const own2 = median(pairs.map(([i, j]) => noise2[i] + noise2[j]));
  const last = COEFFICIENTS - 1;
  return {
    objects,
    scatter: {
      value: Math.sqrt(Math.max(spread2 - own2, 0) / 2),
      sigma: (MEDIAN_LOSS * Math.sqrt(spread2 / 2)) / Math.sqrt(2 * objects),
    },
    perLight: {
      value: field.coefficients[last],
      sigma: Math.sqrt(field.covariance[last * COEFFICIENTS + last]),
    },
  };
}

/** Each place with its nearest ones, as pairs of indices. */
function neighbourPairs(places: number[][]): [number, number][] {
  return places.flatMap(([x, y], i) =>
    places
      .map(([u, v], j) => ({ j, apart2: (u - x) ** 2 + (v - y) ** 2 }))
      .filter(({ j }) => j !== i)
      .sort((a, b) => a.apart2 - b.apart2)
      .slice(0, NEIGHBOURS)
      .map(({ j }): [number, number] => [i, j]),
  );
}
