import { expect, test } from 'vitest';
import { regionMisfit } from '../../workers/fit/coherence.ts';
import { createRandom, type Random } from '../../workers/simulate/random.ts';

const SIDE = 13;

/** Stars of one region: a Gaussian of flux 1, residuals of noise alone or with a part that all share. */
function region(random: Random, stars: number, noise: number, shared: number) {
  const middle = (SIDE - 1) / 2;
  const model = Float64Array.from({ length: SIDE * SIDE }, (_, i) => {
    const [x, y] = [(i % SIDE) - middle, Math.floor(i / SIDE) - middle];
    return Math.exp(-(x * x + y * y) / (2 * 1.6 ** 2)) / (2 * Math.PI * 1.6 ** 2);
  });
  return Array.from({ length: stars }, (_, star) => ({
    star,
    model,
    // The shared part is not round: stronger on one side.
    rest: model.map((value, i) => shared * value * (i % SIDE < middle ? -1 : 1) + noise * random.normal()),
    noiseVariance: noise ** 2,
  }));
}

test('noise alone is rarely taken for what stars have in common, however faint they are', () => {
  // By construction nothing is shared; two standard deviations of a sum of squares leave a few percent (chi squared).
  const random = createRandom(11);
  for (const noise of [0.001, 0.01]) {
    const values = Array.from({ length: 200 }, () => regionMisfit(region(random, 9, noise, 0), SIDE).uneven);
    expect(values.filter((value) => value > 0).length).toBeLessThan(20);
  }
});

test('what bright stars share is told to its size', () => {
  const { uneven, whole } = regionMisfit(region(createRandom(3), 9, 1e-5, 0.1), SIDE);
  // A tenth of the model everywhere but on the middle column, which the pattern counts to one side.
  expect(Math.abs(uneven - 0.1)).toBeLessThan(0.02);
  expect(whole).toBeGreaterThanOrEqual(uneven);
});
