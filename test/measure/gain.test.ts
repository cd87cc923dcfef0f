import { describe, expect, test } from 'vitest';
import { bytesSource } from '../../workers/decode/sources.ts';
import { measureSky } from '../../workers/background/sky.ts';
import { detectStars } from '../../workers/detect/detect.ts';
import { isTold } from '../../workers/measure/gain.ts';
import { measureStars } from '../../workers/measure/measure.ts';
import { curvatureMask } from '../../workers/measure/pixel-noise.ts';
import { FrameSession } from '../../workers/session.ts';
import { simulateExposure } from '../../workers/simulate/exposure.ts';
import { writeFits16, type FitsCard } from '../../workers/simulate/fits.ts';
import { createRandom } from '../../workers/simulate/random.ts';
import { makeScene, type SceneChanges } from '../../workers/simulate/scene.ts';
import { counts, inArena, planeOf, SITES, testKernels } from '../support/planes.ts';

// The gain that a frame tells of itself against the one that the simulator drew it with.

const field = { count: 60, faintestElectrons: 1500, brightestElectrons: 400_000, slope: 0.4 };
const small = { widthPx: 660, heightPx: 520, gainElectronsPerAdu: 0.8 };
const comatic = { optics: { comaStrength: 1 } };

async function gainOf(changes: SceneChanges) {
  const scene = makeScene({ stars: field, ...changes, rig: { ...small, ...changes.rig }, seed: 43 });
  const { pixels, widthPx, heightPx } = simulateExposure(scene);
  const kernels = await testKernels();
  const { gain } = inArena(kernels, () => {
    const plane = planeOf(
      kernels,
      { pixels, widthPx, heightPx },
      { sites: scene.rig.mosaic ? SITES.greensOfRggb : SITES.all, saturationStored: 65535 },
    );
    const sky = measureSky(plane, kernels);
    const found = detectStars(plane, sky, kernels)!;
    return measureStars(plane, sky, found, { unitsPerElectron: null, zeroStored: 0 }, kernels);
  });
  return { gain: gain!, off: Math.log(gain!.unitsPerElectron * scene.rig.gainElectronsPerAdu) };
}

describe('gain from the frame itself', () => {
  test.each([
    ['ordinary', {}, 0.35],
    ['four electrons a step', { rig: { gainElectronsPerAdu: 4 } }, 0.45],
    ['12 bit in steps of 16', { rig: { bits: 12, gainElectronsPerAdu: 0.25, readNoiseElectrons: 3 } }, 0.9],
    ['stars of 6 px', { sky: { seeingArcsec: 7 } }, 0.35],
    ['dark sky', { sky: { skyElectronsPerPx: 1 } }, 0.35],
    ['out of focus', { optics: { focusUm: 60 } }, 0.35],
    ['trailed', { motion: [{ kind: 'drift', vectorUm: { x: 30, y: 10 } }] }, 0.35],
    ['bright uneven sky', { rig: { vignetting: 0.3 }, sky: { skyElectronsPerPx: 2000 } }, 0.6],
    // Most of the light in a few pixels, which the profile's parameters explain whatever they hold: less is told.
    ['stars of 1.6 px', { rig: { focalLengthMm: 420 } }, Infinity],
    ['mosaic', { rig: { mosaic: 'RGGB' } }, Infinity],
    ['comatic at f/4', { ...comatic, rig: { focalRatio: 4 } }, Infinity],
    ['comatic at f/4, mosaic', { ...comatic, rig: { focalRatio: 4, mosaic: 'RGGB' } }, Infinity],
  ] as [string, SceneChanges, number][])('%s: within its error', async (_name, changes, mostSigma) => {
    const { gain, off } = await gainOf(changes);
    // Standard errors of the logarithm; the posterior of few stars is not quite Gaussian: three of them.
    expect(Math.abs(off)).toBeLessThan(3 * gain.lnSigma);
    // How much sixty stars tell: own figures, so that a loss is noticed.
    expect(gain.lnSigma).toBeLessThan(mostSigma);
  });

  test('three faint stars on an even sky tell nothing, and that is said', async () => {
    const stars = [150, 330, 500].map((xPx, i) => ({ xPx, yPx: 120 + 130 * i, fluxElectrons: 1200 }));
    const { gain, off } = await gainOf({ stars });
    expect(isTold(gain)).toBe(false);
    expect(Math.abs(off)).toBeLessThan(3 * gain.lnSigma);
  });
});

describe('what the report says of the gain', () => {
  const warningsOf = async (changes: SceneChanges, cards: FitsCard[]) => {
    const scene = makeScene({ ...changes, rig: { ...small, ...changes.rig }, seed: 5 });
    const { pixels, widthPx, heightPx } = simulateExposure(scene);
    const session = new FrameSession(await testKernels());
    const bytes = writeFits16(pixels, widthPx, heightPx, cards);
    const outcome = await session.measure(bytesSource('test.fits', bytes), { rig: {} });
    if (!outcome.ok) throw new Error(outcome.fault.message);
    return outcome.value.report.warnings.join(' ');
  };
  const few = Array.from({ length: 6 }, (_, i) => ({
    xPx: 80 + 90 * i,
    yPx: 420 - 60 * i,
    fluxElectrons: 1500,
  }));

  test('told by the file, by the frame, by nobody', async () => {
    expect(await warningsOf({ stars: field }, [['EGAIN', 0.8]])).not.toMatch(/gain/);
    expect(await warningsOf({ stars: field }, [])).toMatch(/gain \(EGAIN\); it was estimated/);
    expect(await warningsOf({ stars: few }, [])).toMatch(/gain \(EGAIN\), and .* was assumed/);
  });
});

describe('noise between neighbouring pixels', () => {
  test('keeps the variance of white noise and has the stated number of independent values', () => {
    // Immerkaer 1996; the share of independent ones by counting: variance of the mean square over many pictures.
    const random = createRandom(8);
    const side = 30;
    const { pixels: members, independentShare } = curvatureMask(SITES.all);
    const means: number[] = [];
    for (let picture = 0; picture < 400; picture++) {
      const noise = Float64Array.from({ length: side * side }, () => random.normal());
      let sum = 0;
      for (let y = 1; y < side - 1; y++)
        for (let x = 1; x < side - 1; x++) {
          const value = members.reduce(
            (v, { dx, dy, weight }) => v + weight * noise[(y + dy) * side + x + dx],
            0,
          );
          sum += value * value;
        }
      means.push(sum / (side - 2) ** 2);
    }
    const mean = means.reduce((a, b) => a + b, 0) / means.length;
    const variance = means.reduce((a, b) => a + (b - mean) ** 2, 0) / (means.length - 1);
    const independent = 2 / variance;
    // 400 pictures of some 210 independent values: the mean to 0.5 %, its variance to 7 %.
    expect(Math.abs(mean - 1)).toBeLessThan(0.02);
    expect(Math.abs(independent / ((side - 2) ** 2 * independentShare) - 1)).toBeLessThan(0.25);
  });

  test.each([
    ['all', SITES.all],
    ['greens', SITES.greensOfRggb],
    ['other greens', SITES.greensOfGrbg],
    ['reds', SITES.redsOfRggb],
  ])('mask on %s stays on its kind and sees no slope', (_name, sites) => {
    const start = [0, 1, 2, 3].find((bit) => (sites >> bit) & 1)!;
    const [x0, y0] = [10 + (start & 1), 10 + (start >> 1)];
    const members = curvatureMask(sites).pixels;
    for (const { dx, dy } of members) expect(counts(sites, x0 + dx, y0 + dy)).toBe(true);
    const slope = members.reduce((sum, { dx, dy, weight }) => sum + weight * (3 * dx - 2 * dy + 7), 0);
    expect(Math.abs(slope)).toBeLessThan(1e-12);
  });
});
