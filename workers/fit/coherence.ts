import type { StarResidual } from './star-pool.ts';

const CELLS = 3;
const LEAST_STARS = 4;
const LEAST_REGIONS = 3;
/** Standard deviations of the noise's own scatter that are taken off with it. */
const NOISE_SIGMAS = 2;

/** What stars leave in common, over the size of the model. */
export interface CommonMisfit {
  /** The part that is not round. */
  uneven: number;
  /** All of it. */
  whole: number;
}

/**
 * What the stars of one part of the field leave in common: the median residual of each of 3 x 3 regions, over the
 * model's own rms where the model has its light; noise taken off. Unlike chi squared
 * it does not grow with the brightness of the stars. Median over the regions; where they hold too few stars,
 * nothing is said of the uneven part, and all stars are one region for the whole.
 */
export function commonMisfit(
  residuals: readonly StarResidual[],
  xi: Float64Array,
  eta: Float64Array,
  side: number,
): CommonMisfit {
  const regions = new Map<number, StarResidual[]>();
  const reachX = Math.max(...residuals.map(({ star }) => Math.abs(xi[star])), 1e-9);
  const reachY = Math.max(...residuals.map(({ star }) => Math.abs(eta[star])), 1e-9);
  const cell = (value: number, reach: number) =>
    Math.min(CELLS - 1, Math.floor(((value / reach + 1) / 2) * CELLS));
  for (const residual of residuals) {
    const key = cell(eta[residual.star], reachY) * CELLS + cell(xi[residual.star], reachX);
    regions.set(key, [...(regions.get(key) ?? []), residual]);
  }
  const full = [...regions.values()].filter((stars) => stars.length >= LEAST_STARS);
  const values = full.map((stars) => regionMisfit(stars, side));
  const middle = (key: keyof CommonMisfit) =>
    values.map((value) => value[key]).sort((a, b) => a - b)[values.length >> 1] ?? 0;
  const whole = full.length >= LEAST_REGIONS ? middle('whole') : regionMisfit(residuals, side).whole;
  return { uneven: middle('uneven'), whole };
}

/** Median residual of some stars and their mean model, row by row. */
export function commonResidual(
  stars: readonly StarResidual[],
  side: number,
): { common: Float64Array; model: Float64Array } {
  const area = side * side;
  const model = new Float64Array(area);
  for (const star of stars) star.model.forEach((value, i) => (model[i] += value / stars.length));
  const common = new Float64Array(area);
  for (let i = 0; i < area; i++) {
    const values = stars.map(({ rest }) => rest[i]).filter((value) => !Number.isNaN(value));
    common[i] = values.length > 0 ? median(values) : 0;
  }
  return { common, model };
}

/** Rms of what stars leave in common over the rms of their model; noise taken off. */
export function regionMisfit(stars: readonly StarResidual[], side: number): CommonMisfit {
  const area = side * side;
  const { common, model } = commonResidual(stars, side);
  const middle = (side - 1) / 2;
  // Only where the model has a twentieth of its peak.
  const floor = Math.max(...model) / 20;
  const bright = (i: number) => model[i] > floor;
  const ring = (i: number) => Math.round(Math.hypot((i % side) - middle, Math.floor(i / side) - middle));
  const ringSum = new Float64Array(side * 2);
  const ringCount = new Float64Array(side * 2);
  for (let i = 0; i < area; i++)
    if (bright(i)) {
      ringSum[ring(i)] += common[i];
      ringCount[ring(i)]++;
    }
  let rest = 0;
  let all = 0;
  let light = 0;
  let pixels = 0;
  for (let i = 0; i < area; i++)
    if (bright(i)) {
      rest += (common[i] - ringSum[ring(i)] / ringCount[ring(i)]) ** 2;
      all += common[i] ** 2;
      light += model[i] ** 2;
      pixels++;
    }
  // A median of n has pi / 2 times the variance of a mean.
  const noise =
    (Math.PI / 2) *
    (stars.reduce((sum, { noiseVariance }) => sum + noiseVariance, 0) / stars.length / stars.length) *
    pixels;
  // A sum of squares of n noisy pixels scatters by sqrt(2 / n) of itself: faint stars must not pass for a failing model.
  const chance = noise * (1 + NOISE_SIGMAS * Math.sqrt(2 / Math.max(pixels, 1)));
  const above = (sum: number) => Math.sqrt(Math.max(sum - chance, 0) / light);
  return { uneven: above(rest), whole: above(all) };
}

const median = (values: number[]): number => {
  values.sort((a, b) => a - b);
  return (values[(values.length - 1) >> 1] + values[values.length >> 1]) / 2;
};
