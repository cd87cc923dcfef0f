import { describe, expect, test } from 'vitest';
import { FLAG } from '../../workers/protocol/flags.ts';
import type { StarTable } from '../../workers/protocol/stars.ts';
import { fineGridSize, gridRegions, summarise } from '../../workers/regions/grid.ts';
import { createRandom } from '../../workers/simulate/random.ts';
import { analyticFrame, widthsThroughPixel } from '../../workers/simulate/analytic.ts';
import { measureFrame, scatter } from '../support/star-frames.ts';

/** A table of stars with these columns; the others hold values that no test looks at. */
function tableOf(
  stars: { xPx: number; yPx: number; fwhmPx?: number; e1?: number; e2?: number; flags?: number }[],
) {
  const column = (pick: (star: (typeof stars)[number]) => number) => Float32Array.from(stars, pick);
  const same = (value: number) => column(() => value);
  return {
    count: stars.length,
    xPx: Float64Array.from(stars, ({ xPx }) => xPx),
    yPx: Float64Array.from(stars, ({ yPx }) => yPx),
    fwhmPx: column(({ fwhmPx }) => fwhmPx ?? 3),
    fwhmSigmaPx: same(0.1),
    hfdPx: column(({ fwhmPx }) => 1.2 * (fwhmPx ?? 3)),
    hfdSigmaPx: same(0.1),
    e1: column(({ e1 }) => e1 ?? 0),
    e2: column(({ e2 }) => e2 ?? 0),
    eSigma: same(0.02),
    snr: same(100),
    flags: Uint32Array.from(stars, ({ flags }) => flags ?? 0),
  } as unknown as StarTable;
}

describe('cells', () => {
  test('stars fall into the cell of their pixel; borders and corners belong to one cell each', () => {
    // 300 x 200: cells of 100 x 66.67 pixels, the first pixel's outer border at -0.5.
    const places: [x: number, y: number, col: number, row: number][] = [
      [-0.5, -0.5, 0, 0],
      [99.4, 66.1, 0, 0],
      [99.6, 66.3, 1, 1],
      [150, 100, 1, 1],
      [299.5, 199.5, 2, 2],
      [299.5, 0, 2, 0],
      [0, 140, 0, 2],
    ];
    const regions = gridRegions(tableOf(places.map(([xPx, yPx]) => ({ xPx, yPx }))), 300, 200, 3, 3);
    expect(regions.map(({ col, row }) => [col, row])).toEqual(
      [0, 1, 2].flatMap((row) => [0, 1, 2].map((col) => [col, row])),
    );
    const expected = regions.map(
      ({ col, row }) => places.filter(([, , c, r]) => c === col && r === row).length,
    );
    expect(regions.map(({ stars }) => stars)).toEqual(expected);
    expect(regions[1]).toMatchObject({
      stars: 0,
      fwhmPx: null,
      hfdPx: null,
      elongation: null,
      angleDeg: null,
    });
  });

  test('flagged stars do not count', () => {
    const stars = [0, FLAG.saturated, FLAG.blended, FLAG.edge, FLAG.extended, FLAG.faint].map((flags, i) => ({
      xPx: 10,
      yPx: 10,
      fwhmPx: 3 + i,
      flags,
    }));
    const [first] = gridRegions(tableOf(stars), 300, 200, 3, 3);
    expect(first.stars).toBe(1);
    expect(first.fwhmPx!.value).toBeCloseTo(3, 5);
  });

  test.each([
    [40, 3000, 2000],
    [400, 3000, 2000],
    [5000, 2000, 3000],
    [20_000, 1000, 1000],
    [0, 1920, 1080],
  ])('%i stars on %i x %i: odd by odd, so that one cell is the middle', (stars, widthPx, heightPx) => {
    const { cols, rows } = fineGridSize(stars, widthPx, heightPx);
    expect([cols % 2, rows % 2]).toEqual([1, 1]);
    expect(Math.min(cols, rows)).toBeGreaterThanOrEqual(3);
    expect(Math.max(cols, rows)).toBeLessThanOrEqual(13);
    // Enough stars for each cell, where there are any.
    if (stars > 60) expect(stars / (cols * rows)).toBeGreaterThan(4);
  });
});

describe('means of shapes', () => {
  test('elongations in all directions average to round, in one direction to theirs', () => {
    const random = createRandom(3);
    const around = Array.from({ length: 200 }, () => {
      const angle = 2 * Math.PI * random.uniform();
      return { xPx: 0, yPx: 0, e1: 0.3 * Math.cos(angle), e2: 0.3 * Math.sin(angle) };
    });
    const all = around.map((_, i) => i);
    expect(summarise(tableOf(around), all).elongation!.value).toBeLessThan(1.06);
    // A/B = sqrt((1 + e) / (1 - e)) = 1.363 for 0.3; the axis at half of 100 degrees.
    const along = around.map(() => ({
      xPx: 0,
      yPx: 0,
      e1: 0.3 * Math.cos((100 * Math.PI) / 180) + 0.02 * random.normal(),
      e2: 0.3 * Math.sin((100 * Math.PI) / 180) + 0.02 * random.normal(),
    }));
    const { elongation, angleDeg } = summarise(tableOf(along), all);
    expect(Math.abs(elongation!.value - 1.3628)).toBeLessThan(4 * elongation!.sigma);
    expect(Math.abs(angleDeg!.value - 50)).toBeLessThan(4 * angleDeg!.sigma);
    // Errors of the mean: 0.02 / sqrt(200) in e is 0.0021 in A/B and 0.13 degrees.
    expect(elongation!.sigma).toBeGreaterThan(0.0015);
    expect(elongation!.sigma).toBeLessThan(0.003);
    expect(angleDeg!.sigma).toBeLessThan(0.2);
  });

  test('a field of rings has no width at half height but a half-flux diameter', () => {
    const rings = Array.from({ length: 9 }, () => ({ xPx: 0, yPx: 0, flags: FLAG.ring, fwhmPx: NaN }));
    const table = tableOf(rings);
    table.hfdPx.fill(20);
    const summary = summarise(table, [...rings.keys()]);
    expect(summary.fwhmPx).toBeNull();
    expect(summary.hfdPx!.value).toBeCloseTo(20, 5);
  });
});

test('on a whole frame: the sensor and its nine cells have the true width within their errors and 1 %', async () => {
  const scene = {
    profile: 'gaussian' as const,
    fwhmPx: 3.2,
    axisRatio: 1.2,
    angleDeg: 60,
    widthPx: 720,
    heightPx: 600,
    skyElectrons: 90,
    readNoiseElectrons: 2,
    gainElectronsPerAdu: 0.8,
    offsetAdu: 400,
    seed: 8,
  };
  // Signal to noise from 12 to 300, faint ones in the majority.
  const stars = scatter(150, 720, 600, 38, 18, 6).map((place, i) => ({
    ...place,
    fluxElectrons: Math.min(1.2e5, 1200 * ((i + 0.5) / 150) ** (-1 / 0.8)),
  }));
  const { report } = await measureFrame(analyticFrame({ ...scene, stars }), [['EGAIN', 0.8]]);
  const { fwhmPx, hfdPx } = widthsThroughPixel(scene);
  const close = (estimate: { value: number; sigma: number }, truth: number) =>
    expect(Math.abs(estimate.value - truth)).toBeLessThan(0.01 * truth + 3 * estimate.sigma);
  for (const place of [report.sensor, ...report.regions]) {
    close(place.fwhmPx!, fwhmPx);
    close(place.hfdPx!, hfdPx);
    // The error is that of the mean: 3 % per star at the usual SNR 30, over some 15 stars.
    expect(place.fwhmPx!.sigma / fwhmPx).toBeLessThan(0.03);
  }
  expect(report.sensor.fwhmPx!.sigma / fwhmPx).toBeLessThan(0.006);
  // A/B 1.2 before the pixel; 1/12 px² added to both axes of a Gaussian of 3.2 px: 1.191.
  const s2 = 3.2 ** 2 / (8 * Math.LN2);
  const seen = Math.sqrt((s2 * 1.2 + 1 / 12) / (s2 / 1.2 + 1 / 12));
  expect(Math.abs(report.sensor.elongation!.value - seen)).toBeLessThan(
    0.004 + 3 * report.sensor.elongation!.sigma,
  );
  expect(Math.abs(report.sensor.angleDeg!.value - 60)).toBeLessThan(4 * report.sensor.angleDeg!.sigma);
});

test('faint equal stars: their mean width leans neither way', async () => {
  // SNR 12 to 18 with one bright star in eleven. Each star's own error would give the narrow draws more weight: -2.7 %.
  const shape = { profile: 'moffat' as const, beta: 3.5, fwhmPx: 3.2 };
  const truth = widthsThroughPixel(shape);
  const [cols, rows, cell] = [33, 30, 36];
  const stars = Array.from({ length: cols * rows }, (_, n) => {
    const snr = n % 11 === 0 ? 300 : 12 + (6 * ((7 * n) % 13)) / 12;
    return {
      xPx: ((n % cols) + 0.5) * cell + ((0.377 * n) % 1),
      yPx: (Math.floor(n / cols) + 0.5) * cell + ((0.713 * n) % 1),
      fluxElectrons: fluxOf(snr, truth.fwhmPx),
      snr,
    };
  });
  const scene = {
    ...shape,
    widthPx: cols * cell,
    heightPx: rows * cell,
    skyElectrons: 60,
    readNoiseElectrons: 2,
    gainElectronsPerAdu: 0.8,
    offsetAdu: 400,
    seed: 5,
  };
  const measured = await measureFrame(analyticFrame({ ...scene, stars }), [['EGAIN', 0.8]]);
  const faint = Array.from(measured.stars.snr.keys()).filter((i) => measured.stars.snr[i] < 40);
  expect(faint.length).toBeGreaterThan(850);
  const { fwhmPx, hfdPx } = summarise(measured.stars, faint);
  // 0.5 % and twice the error of the mean, 11 % per star over 900 stars.
  const bias = (estimate: { value: number; sigma: number }, of: number) =>
    Math.abs(estimate.value / of - 1) - (2 * estimate.sigma) / of;
  expect(fwhmPx!.sigma / truth.fwhmPx).toBeLessThan(0.005);
  expect(bias(fwhmPx!, truth.fwhmPx)).toBeLessThan(0.005);
  expect(bias(hfdPx!, truth.hfdPx)).toBeLessThan(0.005);
});

/** Electrons for a signal to noise in a matched aperture of 4 pi s² pixels (King 1983, PASP 95, 163), 64 a pixel. */
function fluxOf(snr: number, fwhmPx: number): number {
  const noise = ((4 * Math.PI * fwhmPx ** 2) / (8 * Math.LN2)) * 64;
  return (snr ** 2 + Math.sqrt(snr ** 4 + 4 * snr ** 2 * noise)) / 2;
}

test('mean stars: peak 1 in the middle, as wide as the stars and a little softer', async () => {
  const scene = {
    profile: 'moffat' as const,
    fwhmPx: 3.2,
    widthPx: 600,
    heightPx: 480,
    skyElectrons: 90,
    readNoiseElectrons: 2,
    gainElectronsPerAdu: 0.8,
    offsetAdu: 400,
    seed: 8,
  };
  const stars = scatter(90, 600, 480, 38, 18, 6).map((place) => ({ ...place, fluxElectrons: 20_000 }));
  const { meanStars } = await measureFrame(analyticFrame({ ...scene, stars }), [['EGAIN', 0.8]]);
  expect(meanStars).toHaveLength(9);
  for (const { side, samplesPerPx, values, stars: behind } of meanStars) {
    expect(behind).toBeGreaterThan(4);
    expect(values).toHaveLength(side * side);
    const middle = (side - 1) / 2;
    let [sum, sx, sy, above, top] = [0, 0, 0, 0, 0];
    values.forEach((value, i) => {
      sum += value;
      sx += value * ((i % side) - middle);
      sy += value * (Math.floor(i / side) - middle);
      if (value > 0.5) above++;
      top = Math.max(top, value);
    });
    expect(top).toBeCloseTo(1, 6);
    expect(Math.hypot(sx / sum, sy / sum) / samplesPerPx).toBeLessThan(0.15);
    const fwhmPx = (2 * Math.sqrt(above / Math.PI)) / samplesPerPx;
    // A triangle of a pixel's half width adds some 0.2 to 0.35 px² to the variance: 3.3 px become 3.5 to 3.8.
    expect(fwhmPx).toBeGreaterThan(3.1);
    expect(fwhmPx).toBeLessThan(4);
  }
});
