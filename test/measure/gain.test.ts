import { describe, expect, test } from 'vitest';
import { measureSky } from '../../workers/background/sky.ts';
import { detectStars } from '../../workers/detect/detect.ts';
import { joinEvidence, logMoments, priorOf } from '../../workers/measure/gain-belief.ts';
import { measureStars } from '../../workers/measure/measure.ts';
import { skyGroups, slopeOf } from '../../workers/measure/sky-noise.ts';
import { gainSentence } from '../../workers/regions/gain-words.ts';
import { analyticFrame, type AnalyticScene } from '../../workers/simulate/analytic.ts';
import { createRandom } from '../../workers/simulate/random.ts';
import { inArena, planeOf, SITES, testKernels } from '../support/planes.ts';
import { scatter } from '../support/star-frames.ts';

// What a frame's noise tells of the gain when the file is silent.

/** Two exposures of one sky that darkens to the corners, seen through the filters if any; no stars. */
function skyPair(gain: number, filters: number[] | null, seed: number) {
  const [widthPx, heightPx] = [640, 480];
  const random = createRandom(seed);
  const expose = () =>
    Uint16Array.from({ length: widthPx * heightPx }, (_, i) => {
      const [x, y] = [i % widthPx, Math.floor(i / widthPx)];
      const r2 = ((x - 320) / 400) ** 2 + ((y - 240) / 400) ** 2;
      const electrons = 150 * (1 - 0.35 * r2) * (filters ? filters[(x & 1) + 2 * (y & 1)] : 1);
      return Math.round(700 + (random.poisson(electrons) + 3 * random.normal()) / gain);
    });
  return { widthPx, heightPx, first: expose(), second: expose() };
}

/**
 * EMVA 1288 release 4.0, sect. 6.6 (from memory): temporal variance from the difference of two frames, gain as its slope
 * against the mean, here over tiles of one colour. Returns counts per electron.
 */
function photonTransfer({ widthPx, heightPx, first, second }: ReturnType<typeof skyPair>): number {
  const tiles: { level: number; variance: number }[] = [];
  for (let y0 = 0; y0 < heightPx; y0 += 40)
    for (let x0 = 0; x0 < widthPx; x0 += 40)
      for (const site of [0, 1, 2, 3]) {
        let [n, sum, squares] = [0, 0, 0];
        for (let y = y0 + (site >> 1); y < y0 + 40; y += 2)
          for (let x = x0 + (site & 1); x < x0 + 40; x += 2, n++) {
            const i = y * widthPx + x;
            sum += (first[i] + second[i]) / 2;
            squares += (first[i] - second[i]) ** 2 / 2;
          }
        tiles.push({ level: sum / n, variance: squares / n });
      }
  const mean = (of: (tile: (typeof tiles)[0]) => number) =>
    tiles.reduce((total, tile) => total + of(tile), 0) / tiles.length;
  const [level, variance] = [mean((tile) => tile.level), mean((tile) => tile.variance)];
  return (
    mean((tile) => (tile.level - level) * (tile.variance - variance)) /
    mean((tile) => (tile.level - level) ** 2)
  );
}

describe('sky noise against level', () => {
  test.each([
    [0.8, null],
    [2, null],
    [0.8, [0.6, 1, 1, 0.5]],
  ] as const)('gain %f, filters %j: as two frames tell it by photon transfer', async (gain, filters) => {
    const pair = skyPair(gain, filters && [...filters], 5);
    const kernels = await testKernels();
    const slope = inArena(kernels, () => {
      const { widthPx, heightPx, first } = pair;
      const plane = planeOf(
        kernels,
        { pixels: first, widthPx, heightPx },
        { sites: filters ? SITES.greensOfRggb : SITES.all, saturationStored: 65535 },
      );
      return slopeOf(skyGroups(plane, measureSky(plane, kernels), [], 1.5, kernels))!;
    });
    // Two frames have half of the single one's photon noise in common with it: their own error is no larger.
    expect(Math.abs(slope.units - photonTransfer(pair))).toBeLessThan(3 * Math.SQRT2 * slope.sigma);
    expect(Math.abs(slope.units * gain - 1)).toBeLessThan(3 * slope.sigma * gain);
    // Over filters the level doubles; the corners of the plain sky are a third darker.
    expect(slope.sigma * gain).toBeLessThan(filters ? 0.08 : 0.25);
  });

  test('colours that the camera amplified apart do not pass for noise against level', async () => {
    const gain = 0.8;
    const pair = skyPair(gain, [0.6, 1, 1, 0.5], 6);
    const kernels = await testKernels();
    const { widthPx, heightPx, first } = pair;
    const pixels = first.map((value, i) => {
      const red = (i % widthPx) % 2 === 0 && Math.floor(i / widthPx) % 2 === 0;
      return red ? 700 + Math.round(1.8 * (value - 700)) : value;
    });
    const slope = inArena(kernels, () => {
      const plane = planeOf(
        kernels,
        { pixels, widthPx, heightPx },
        { sites: SITES.greensOfRggb, saturationStored: 65535 },
      );
      return slopeOf(skyGroups(plane, measureSky(plane, kernels), [], 1.5, kernels))!;
    });
    expect(Math.abs(slope.units * gain - 1)).toBeLessThan(3 * slope.sigma * gain);
  });
});

const base = {
  profile: 'moffat' as const,
  widthPx: 640,
  heightPx: 480,
  skyElectrons: 90,
  readNoiseElectrons: 2,
  offsetAdu: 500,
  seed: 31,
};

async function told(scene: AnalyticScene) {
  const kernels = await testKernels();
  const { unitsPerElectron, gainLogSigma } = inArena(kernels, () => {
    const sites = scene.mosaic ? SITES.greensOfRggb : SITES.all;
    const plane = planeOf(kernels, analyticFrame(scene), { sites, saturationStored: 65535 });
    const sky = measureSky(plane, kernels);
    const found = detectStars(plane, sky, kernels)!;
    return measureStars(plane, sky, found, { unitsPerElectron: null, zeroStored: 0 }, kernels);
  });
  return { off: Math.log(unitsPerElectron * scene.gainElectronsPerAdu), sigma: gainLogSigma };
}

/** Ever fewer brighter ones: the number above F falls as F^-0.6. */
const stars = (count: number, faintest: number, seed: number) =>
  scatter(count, 640, 480, 45, 30, seed).map((place, i) => ({
    ...place,
    fluxElectrons: Math.min(150_000, faintest * ((i + 0.5) / count) ** (-1 / 0.6)),
  }));

describe('stars and sky together', () => {
  // The simulated gain is the truth; the frame's own error says how far off it may be.
  test.each([
    ['narrow stars of 1.6 px', { fwhmPx: 1.6, gainElectronsPerAdu: 0.8 }, 90, 0.3],
    ['narrow stars on a mosaic', { fwhmPx: 1.6, gainElectronsPerAdu: 0.8, mosaic: 'RGGB' }, 90, 0.2],
    ['long stars', { fwhmPx: 3.5, axisRatio: 1.6, gainElectronsPerAdu: 0.25 }, 90, 0.35],
    ['many electrons a count', { fwhmPx: 3, gainElectronsPerAdu: 4 }, 90, 0.3],
  ] as const)('%s', async (_, scene, count, mostSigma) => {
    const { off, sigma } = await told({ ...base, ...scene, stars: stars(count, 900, 3) });
    expect(sigma).toBeLessThan(mostSigma);
    expect(Math.abs(off)).toBeLessThan(3 * sigma);
  });

  test('seven stars under an even sky tell little, and say so', async () => {
    const scene = { ...base, fwhmPx: 3, gainElectronsPerAdu: 0.8, stars: stars(7, 4000, 4) };
    const { off, sigma } = await told(scene);
    expect(sigma).toBeGreaterThan(0.15);
    expect(sigma).toBeLessThan(1.2);
    expect(Math.abs(off)).toBeLessThan(3 * sigma);
  });
});

describe('belief', () => {
  const facts = { variance: 100, level: 800, quantum: 1, converter: true };

  test('before all evidence spans what cameras are like', () => {
    const prior = priorOf(facts);
    const { mean, sigma } = logMoments(prior, new Float64Array(prior.logPrior.length));
    // Common practice, no source: amateur cameras have 0.03 to 5 electrons per step.
    expect(Math.exp(-mean - 2 * sigma)).toBeLessThan(0.2);
    expect(Math.exp(-mean + 2 * sigma)).toBeGreaterThan(2);
    expect(sigma).toBeGreaterThan(0.6);
  });

  test('two kinds that agree are worth more than each; two that contradict each other less', () => {
    const prior = priorOf(facts);
    const says = (at: number, sigma: number) =>
      prior.grid.logUnits.map((logU) => -0.5 * ((logU - at) / sigma) ** 2);
    const alike = joinEvidence(prior, [says(0, 0.2), says(0.05, 0.2)]);
    // Two Gaussian errors of 0.2 and a wide belief beside them: 0.2 / sqrt(2).
    expect(alike.logSigma).toBeCloseTo(0.14, 2);
    expect(joinEvidence(prior, [says(0.8, 0.1), says(-0.8, 0.1)]).logSigma).toBeGreaterThan(0.7);
  });
});

test('the words give the gain with its error, a range, or what to do', () => {
  expect(gainSentence({ electronsPerAdu: 0.812, logSigma: 0.08 })).toMatch(
    /0\.81 electrons per count, give or take 8 %/,
  );
  expect(gainSentence({ electronsPerAdu: 1, logSigma: 0.5 })).toMatch(/roughly: 0\.61 to 1\.6 electrons/);
  expect(gainSentence({ electronsPerAdu: 1, logSigma: 1 })).toMatch(/from 0\.37 to 2\.7 .* write the gain/);
});
