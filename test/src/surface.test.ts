import { expect, test } from 'vitest';
import { fitSurface, sampleSurface } from '../../src/charts/surface.ts';

const WIDTH = 3000;
const HEIGHT = 2000;

/** Deterministic places and normal values (Park & Miller's generator, Box & Muller's transform). */
function generator(seed: number) {
  let state = seed;
  const uniform = () => (state = (state * 16807) % 2147483647) / 2147483647;
  return { uniform, normal: () => Math.sqrt(-2 * Math.log(uniform())) * Math.cos(2 * Math.PI * uniform()) };
}

function samplesOf(count: number, value: (x: number, y: number) => number, seed = 5) {
  const { uniform } = generator(seed);
  const xPx = Array.from({ length: count }, () => uniform() * (WIDTH - 1));
  const yPx = Array.from({ length: count }, () => uniform() * (HEIGHT - 1));
  return { xPx, yPx, value: xPx.map((x, i) => value(x, yPx[i])) };
}

// Truth: a polynomial is its own least-squares fit (algebra), so only rounding may remain.
const cubic = (x: number, y: number) => {
  const [u, v] = [x / 1500 - 1, y / 1000 - 1];
  return 3 + 0.4 * u - 0.2 * v + 0.5 * u * u + 0.1 * u * v - 0.3 * v ** 3 + 0.2 * u * u * v;
};

test('a cubic is found again everywhere, also outside the samples', () => {
  const surface = fitSurface(samplesOf(60, cubic), WIDTH, HEIGHT)!;
  expect(surface.order).toBe(3);
  for (const [x, y] of [
    [0, 0],
    [2999, 0],
    [1500, 1000],
    [2999, 1999],
  ])
    expect(surface.at(x, y)).toBeCloseTo(cubic(x, y), 9);
});

test('every fifth star may be badly off without moving the surface', () => {
  const { normal } = generator(11);
  const noise = 0.05;
  const samples = samplesOf(300, (x, y) => cubic(x, y) + noise * normal());
  for (let i = 0; i < 300; i += 5) samples.value[i] += 2 + i / 100;
  const surface = fitSurface(samples, WIDTH, HEIGHT)!;
  // 240 good samples share ten coefficients: 0.05 * sqrt(10 / 240) = 0.01 on average, more in the corners.
  for (const [x, y] of [
    [300, 200],
    [1500, 1000],
    [2700, 1800],
  ])
    expect(Math.abs(surface.at(x, y) - cubic(x, y))).toBeLessThan(0.05);
  expect(surface.scatter).toBeGreaterThan(0.03);
  expect(surface.scatter).toBeLessThan(0.08);
});

test('the standard error of a constant is sigma / sqrt(n) and describes the real scatter', () => {
  const { normal } = generator(3);
  const trials = Array.from({ length: 200 }, (_, t) =>
    fitSurface(
      samplesOf(50, () => 4 + 0.3 * normal(), t + 1),
      WIDTH,
      HEIGHT,
      0,
    )!,
  );
  const values = trials.map((s) => s.at(1000, 500));
  const mean = values.reduce((a, b) => a + b) / 200;
  const scatter = Math.sqrt(values.reduce((sum, v) => sum + (v - mean) ** 2, 0) / 199);
  const claimed = trials.map((s) => s.sigmaAt(1000, 500)).reduce((a, b) => a + b) / 200;
  // Textbook: 0.3 / sqrt(50) = 0.0424. 200 trials know a scatter to 5 %; the biweight's weights cost a little more.
  expect(scatter).toBeGreaterThan(0.0424 * 0.85);
  expect(scatter).toBeLessThan(0.0424 * 1.2);
  expect(Math.abs(claimed / scatter - 1)).toBeLessThan(0.25);
});

test('few stars get a simpler surface, and two none at all', () => {
  const orderOf = (count: number) => fitSurface(samplesOf(count, cubic), WIDTH, HEIGHT)?.order;
  expect([40, 39, 24, 23, 12, 11, 3].map(orderOf)).toEqual([3, 2, 2, 1, 1, 0, 0]);
  expect(orderOf(2)).toBeUndefined();
});

test('noise about a constant, a plane and a bowl gets the order that it has', () => {
  const { normal } = generator(29);
  const truths = [
    () => 3,
    (x: number) => 3 + x / 3000,
    (x: number, y: number) => 3 + (x / 1500 - 1) ** 2 + (y / 1000 - 1) ** 2,
  ];
  truths.forEach((truth, order) => {
    const found = Array.from({ length: 20 }, (_, t) =>
      fitSurface(
        samplesOf(120, (x, y) => truth(x, y) + 0.1 * normal(), t + 1),
        WIDTH,
        HEIGHT,
      )!,
    ).map((surface) => surface.order);
    // Schwarz's criterion is consistent: at 120 samples a wrong order is rare, not impossible.
    expect(found.filter((o) => o === order).length).toBeGreaterThanOrEqual(17);
  });
});

test('stars on one line leave only what they can tell', () => {
  const xPx = Array.from({ length: 50 }, (_, i) => i * 60);
  const yPx = xPx.map(() => 700);
  const surface = fitSurface({ xPx, yPx, value: xPx.map((x) => 2 + x / 3000) }, WIDTH, HEIGHT)!;
  expect(Number.isFinite(surface.at(0, 0))).toBe(true);
});

test('the sampled grid has its outer samples on the border of the sensor', () => {
  const grid = sampleSurface({ at: (x, y) => x + 10_000 * y }, WIDTH, HEIGHT, 5, 3);
  expect(grid[0]).toBe(0);
  expect(grid[4]).toBe(2999);
  expect(grid[14]).toBe(2999 + 1999 * 10_000);
});
