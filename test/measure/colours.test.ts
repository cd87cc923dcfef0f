import { describe, expect, test } from 'vitest';
import { analyticFrame, widthsThroughPixel } from '../../workers/simulate/analytic.ts';
import { simulateExposure } from '../../workers/simulate/exposure.ts';
import type { ProfileName } from '../../workers/simulate/profiles.ts';
import { makeScene } from '../../workers/simulate/scene.ts';
import { fwhmAt } from '../../workers/simulate/truth.ts';
import { measureColours, measureFrame, scatter, testSession } from '../support/star-frames.ts';

// Red, green and blue of a mosaic, each on its own pixels, against what the simulator drew.

const size = { widthPx: 760, heightPx: 600 };
const COLOURS = ['R', 'G', 'B'] as const;
const PATTERN = ['R', 'G', 'G', 'B'] as const;
type Each = Record<(typeof COLOURS)[number], number>;

/** A mosaic of three analytic frames: widths and displacements (growing from the centre) of each colour. */
function layered(profile: ProfileName, fwhmPx: Each, lateralPerPx: Each, seed: number) {
  const places = scatter(80, size.widthPx, size.heightPx, 45, 30, seed);
  const layer = (colour: (typeof COLOURS)[number], at: number) =>
    analyticFrame({
      ...size,
      profile,
      fwhmPx: fwhmPx[colour],
      stars: places.map(({ xPx, yPx }, i) => ({
        xPx: xPx + lateralPerPx[colour] * (xPx - (size.widthPx - 1) / 2),
        yPx: yPx + lateralPerPx[colour] * (yPx - (size.heightPx - 1) / 2),
        fluxElectrons: 8_000 * 10 ** (i / 80),
      })),
      skyElectrons: 60,
      readNoiseElectrons: 2,
      offsetAdu: 500,
      gainElectronsPerAdu: 1,
      seed: seed + at,
    }).pixels;
  const layers = { R: layer('R', 1), G: layer('G', 2), B: layer('B', 3) };
  const pixels = layers.G.map((_, i) => {
    const x = i % size.widthPx;
    const y = Math.floor(i / size.widthPx);
    return layers[PATTERN[(x & 1) + 2 * (y & 1)]][i];
  });
  return { pixels, ...size };
}

const CARDS: [string, string | number][] = [
  ['EGAIN', 1],
  ['BAYERPAT', 'RGGB'],
];

describe('width and half-flux diameter of each colour', () => {
  test.each([
    ['moffat', { R: 2.4, G: 2, B: 2.2 }],
    ['moffat', { R: 3.4, G: 3, B: 3.2 }],
    ['kolmogorov', { R: 3.4, G: 3, B: 3.2 }],
    ['gaussian', { R: 5.2, G: 4.4, B: 4.8 }],
    ['moffat', { R: 5.2, G: 4.4, B: 4.8 }],
  ] as [ProfileName, Each][])('%s, %o px', async (profile, fwhmPx) => {
    const frame = layered(profile, fwhmPx, { R: 0, G: 0, B: 0 }, 31);
    const colour = await measureColours(frame, CARDS);
    COLOURS.forEach((each, i) => {
      const found = [colour!.red, colour!.green, colour!.blue][i];
      const truth = widthsThroughPixel({ profile, fwhmPx: fwhmPx[each] });
      expect(found.stars).toBeGreaterThan(50);
      // Bias of 2 % at most: red and blue of 2.5 px have one pixel in four, 1.2 samples to a width.
      expect(Math.abs(found.fwhmPx!.value / truth.fwhmPx - 1)).toBeLessThan(0.02);
      expect(Math.abs(found.hfdPx!.value / truth.hfdPx - 1)).toBeLessThan(0.03);
    });
  });
});

test('colours that come to focus apart: each width as the simulator has it', async () => {
  const base = makeScene({
    rig: { ...size, mosaic: 'RGGB', gainElectronsPerAdu: 1 },
    stars: { count: 90, faintestElectrons: 20_000, brightestElectrons: 300_000, slope: 0.5 },
    sky: { seeingArcsec: 3.6 },
    seed: 9,
  });
  // Blue 60 um short of the others: a simple achromat.
  const spectrum = base.spectrum.map((sample) =>
    sample.wavelengthUm < 0.49 ? { ...sample, focusShiftUm: 60 } : sample,
  );
  const scene = { ...base, spectrum };
  const { pixels, widthPx, heightPx } = simulateExposure(scene);
  const colour = await measureColours({ pixels, widthPx, heightPx }, CARDS);
  COLOURS.forEach((each, i) => {
    const found = [colour!.red, colour!.green, colour!.blue][i];
    const truth = fwhmAt(scene, widthPx / 2, heightPx / 2, each);
    expect(Math.abs(found.fwhmPx!.value / truth - 1)).toBeLessThan(0.02);
  });
});

test.each([2.2, 3, 5])('lateral colour of stars of %f px lies within its errors', async (fwhmPx) => {
  const widths = { R: fwhmPx, G: fwhmPx, B: fwhmPx };
  const lateral = { R: 4e-4, G: 0, B: -3e-4 };
  const colour = await measureColours(layered('moffat', widths, lateral, 57), CARDS);
  const { lateralPerPx, redMinusBluePx } = colour!;
  expect(Math.abs(lateralPerPx!.value - 7e-4)).toBeLessThan(4 * lateralPerPx!.sigma);
  expect(lateralPerPx!.sigma).toBeLessThan(1e-4);
  for (const each of [redMinusBluePx.x!, redMinusBluePx.y!])
    expect(Math.abs(each.value)).toBeLessThan(4 * each.sigma + 7e-4 * 40);
});

test('a monochrome frame has no colours, and a frame that was replaced is not mistaken for the newer one', async () => {
  const frame = layered('moffat', { R: 3, G: 3, B: 3 }, { R: 0, G: 0, B: 0 }, 11);
  const { handle } = await measureFrame(frame, CARDS);
  expect(await measureColours(frame, [['EGAIN', 1]])).toBeNull();
  expect((await testSession()).colours(handle)).toMatchObject({ ok: false });
});
