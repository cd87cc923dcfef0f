import { createRandom } from '../workers/simulate/random.ts';

export function median(values: ArrayLike<number>): number {
  const sorted = Float64Array.from(values).sort();
  const half = sorted.length / 2;
  return (sorted[Math.floor(half)] + sorted[Math.ceil(half) - 1]) / 2;
}

/** Standard deviation of a Gaussian with the same median absolute deviation. */
export function spread(values: number[]): number {
  const middle = median(values);
  return 1.482602218505602 * median(values.map((value) => Math.abs(value - middle)));
}

/** Standard error of a statistic of paired values, from 100 resamplings of the pairs. */
export function bootstrapError<T>(items: T[], statistic: (sample: T[]) => number, seed = 1): number {
  const random = createRandom(seed);
  const results = Array.from({ length: 100 }, () =>
    statistic(items.map(() => items[random.integer(items.length)])),
  );
  return spread(results);
}
