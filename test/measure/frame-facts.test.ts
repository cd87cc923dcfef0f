import { describe, expect, test } from 'vitest';
import { measureSky } from '../../workers/background/sky.ts';
import { detectStars } from '../../workers/detect/detect.ts';
import { measureStars } from '../../workers/measure/measure.ts';
import { analyticFrame, type AnalyticScene } from '../../workers/simulate/analytic.ts';
import { inArena, planeOf, SITES, testKernels } from '../support/planes.ts';
import { measureColours, measureFrame, scatter } from '../support/star-frames.ts';

// What a frame tells about itself: the wings of its stars, its gain, its colours.

const base = {
  profile: 'moffat' as const,
  beta: 3.5,
  fwhmPx: 3.4,
  widthPx: 640,
  heightPx: 480,
  skyElectrons: 90,
  readNoiseElectrons: 2,
  offsetAdu: 500,
  seed: 12,
};

/** Fluxes over a factor of ten: the brightest have a signal to noise of some 500. */
const stars = scatter(70, 640, 480, 45, 30, 7).map((place, i) => ({
  ...place,
  fluxElectrons: 25_000 * 10 ** (i / 70),
}));

async function frameFacts(scene: AnalyticScene, unitsPerElectron: number | null) {
  const kernels = await testKernels();
  return inArena(kernels, () => {
    const plane = planeOf(kernels, analyticFrame(scene), {
      sites: scene.mosaic ? SITES.greensOfRggb : SITES.all,
      saturationStored: 65535,
    });
    const sky = measureSky(plane, kernels);
    const found = detectStars(plane, sky, kernels)!;
    return measureStars(plane, sky, found, { unitsPerElectron, zeroStored: 0 }, kernels);
  });
}

describe('wing exponent', () => {
  test.each([
    [2.5, null],
    [3, null],
    [3.5, 'RGGB'],
    [4.5, null],
    [4.5, 'RGGB'],
  ] as const)('of Moffat stars with beta %f (mosaic %s) is found', async (beta, mosaic) => {
    const { form } = await frameFacts({ ...base, beta, mosaic, stars, gainElectronsPerAdu: 1 }, 1);
    // The profile is fitted as seen through the pixel, which rounds the core of a star of 3.4 px: beta seems a few per
    // cent larger. Thirty stars of SNR 300 fix 1/beta to about 0.002.
    expect(form.k * beta).toBeGreaterThan(0.88);
    expect(form.k * beta).toBeLessThan(1.04);
  });

  test('of Gaussian stars is next to nothing', async () => {
    const scene = { ...base, profile: 'gaussian' as const, stars, gainElectronsPerAdu: 1 };
    expect((await frameFacts(scene, 1)).form.k).toBeLessThan(0.04);
  });
});

describe('gain from the frame itself', () => {
  test.each([
    [0.3, 'moffat', null],
    [1, 'moffat', null],
    [1, 'kolmogorov', null],
    [1, 'gaussian', 'RGGB'],
    [2.5, 'moffat', 'RGGB'],
  ] as const)('%f electrons per ADU, %s, mosaic %s: within a quarter', async (gain, profile, mosaic) => {
    // An everyday mixture: signal to noise from 10 to 300.
    const mixed = stars.map((star, i) => ({ ...star, fluxElectrons: 800 * 10 ** ((2 * i) / 70) }));
    const scene = { ...base, profile, mosaic, stars: mixed, gainElectronsPerAdu: gain };
    const { unitsPerElectron } = await frameFacts(scene, null);
    // Some 40 stars of use with 50 pixels each above the sky: the excess variance is known to a tenth.
    expect(unitsPerElectron * gain).toBeGreaterThan(0.75);
    expect(unitsPerElectron * gain).toBeLessThan(1.33);
  });

  test('from a frame of only bright stars: within a factor of 1.5', async () => {
    const { unitsPerElectron } = await frameFacts({ ...base, stars, gainElectronsPerAdu: 1 }, null);
    expect(unitsPerElectron).toBeGreaterThan(0.67);
    expect(unitsPerElectron).toBeLessThan(1.5);
  });

  test('a file without EGAIN is measured all the same, and says so', async () => {
    const frame = analyticFrame({ ...base, stars, gainElectronsPerAdu: 0.8 });
    const [told, untold] = [await measureFrame(frame, [['EGAIN', 0.8]]), await measureFrame(frame)];
    expect(told.report.warnings.join(' ')).not.toMatch(/gain/);
    expect(untold.report.warnings.join(' ')).toMatch(/gain \(EGAIN\)/);
    const [a, b] = [told.report.sensor, untold.report.sensor];
    expect(Math.abs(a.fwhmPx!.value / b.fwhmPx!.value - 1)).toBeLessThan(0.01);
    expect(untold.stars.count).toBe(told.stars.count);
  });
});

test('colours of a mosaic: width and place of each on its own pixels', async () => {
  // Red stars are wider and lie 0.3 px to the right and 0.1 px up of the green ones, blue ones opposite.
  const layer = (fwhmPx: number, dx: number, dy: number, seed: number) =>
    analyticFrame({
      ...base,
      fwhmPx,
      seed,
      stars: stars.map((star) => ({ ...star, xPx: star.xPx + dx, yPx: star.yPx + dy })),
      gainElectronsPerAdu: 1,
    }).pixels;
  const layers = { R: layer(4.2, 0.3, -0.1, 1), G: layer(3.4, 0, 0, 2), B: layer(3.6, -0.3, 0.1, 3) };
  const pattern = ['R', 'G', 'G', 'B'] as const;
  const pixels = layers.G.map((_, i) => {
    const x = i % base.widthPx;
    const y = Math.floor(i / base.widthPx);
    return layers[pattern[(x & 1) + 2 * (y & 1)]][i];
  });
  const frame = { pixels, widthPx: base.widthPx, heightPx: base.heightPx };
  const colour = await measureColours(frame, [
    ['EGAIN', 1],
    ['BAYERPAT', 'RGGB'],
  ]);
  const { red, green, blue, redMinusBluePx, lateralPerPx } = colour!;
  expect(Math.min(red.stars, green.stars, blue.stars)).toBeGreaterThan(60);
  // Ratios, since the plain profile's width is a little off the half-height width for all alike.
  expect(red.fwhmPx!.value / green.fwhmPx!.value).toBeCloseTo(4.2 / 3.4, 1);
  expect(Math.abs(red.fwhmPx!.value / green.fwhmPx!.value / (4.2 / 3.4) - 1)).toBeLessThan(0.02);
  expect(Math.abs(blue.fwhmPx!.value / green.fwhmPx!.value / (3.6 / 3.4) - 1)).toBeLessThan(0.02);
  const off = [redMinusBluePx.x!, redMinusBluePx.y!].map(
    ({ value, sigma }, i) => (value - [0.6, -0.2][i]) / sigma,
  );
  for (const pull of off) expect(Math.abs(pull)).toBeLessThan(4);
  expect(redMinusBluePx.x!.sigma).toBeLessThan(0.01);
  expect(Math.abs(lateralPerPx!.value)).toBeLessThan(4 * lateralPerPx!.sigma);
});
