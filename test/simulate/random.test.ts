import { describe, expect, it } from 'vitest';
import { createRandom } from '../../workers/simulate/random.ts';

const N = 200_000;
const draw = (next: () => number) => Float64Array.from({ length: N }, next);
const mean = (v: Float64Array) => v.reduce((a, b) => a + b, 0) / v.length;
const central = (v: Float64Array, order: number) => {
  const m = mean(v);
  return v.reduce((a, b) => a + (b - m) ** order, 0) / v.length;
};

describe('random numbers', () => {
  it('uniform: mean 1/2, variance 1/12, no memory from one to the next', () => {
    const v = draw(createRandom(7).uniform);
    expect(Math.abs(mean(v) - 0.5)).toBeLessThan(4 * Math.sqrt(1 / 12 / N));
    expect(Math.abs(central(v, 2) - 1 / 12)).toBeLessThan(4 * Math.sqrt(1 / 180 / N));
    let lag = 0;
    for (let i = 1; i < N; i++) lag += (v[i] - 0.5) * (v[i - 1] - 0.5);
    expect(Math.abs(lag / N)).toBeLessThan((4 * (1 / 12)) / Math.sqrt(N));
  });

  it('normal: moments 0, 1, 0, 3', () => {
    const v = draw(createRandom(8).normal);
    expect(Math.abs(mean(v))).toBeLessThan(4 / Math.sqrt(N));
    expect(Math.abs(central(v, 2) - 1)).toBeLessThan(4 * Math.sqrt(2 / N));
    expect(Math.abs(central(v, 3))).toBeLessThan(4 * Math.sqrt(15 / N));
    expect(Math.abs(central(v, 4) - 3)).toBeLessThan(4 * Math.sqrt(96 / N));
  });

  // Poisson: mean = variance = third central moment; probability of each count by its formula.
  it.each([0.3, 4, 9.99, 10, 37.5, 4000])('Poisson of mean %f', (lambda) => {
    const random = createRandom(Math.round(lambda * 100));
    const v = draw(() => random.poisson(lambda));
    expect(Math.abs(mean(v) - lambda)).toBeLessThan(4 * Math.sqrt(lambda / N));
    expect(Math.abs(central(v, 2) / lambda - 1)).toBeLessThan(4 * Math.sqrt((2 + 1 / lambda) / N));
    // Variance of a sample third moment of a near normal law is 6 sigma^6, with room for small means.
    expect(Math.abs(central(v, 3) - lambda)).toBeLessThan(
      5 * Math.sqrt((6 * lambda ** 3 + 60 * lambda ** 2 + 20 * lambda) / N),
    );
    let logP = -lambda;
    for (let k = 1; k <= Math.floor(lambda); k++) logP += Math.log(lambda / k);
    const p = Math.exp(logP);
    const seen = v.filter((count) => count === Math.floor(lambda)).length / N;
    expect(Math.abs(seen - p)).toBeLessThan(4 * Math.sqrt((p * (1 - p)) / N));
  });

  it('repeats for one seed and differs for the next', () => {
    const take = (seed: number) => Array.from({ length: 5 }, createRandom(seed).uniform);
    expect(take(3)).toEqual(take(3));
    expect(take(3)).not.toEqual(take(4));
  });
});
