import { beforeAll, describe, expect, test } from 'vitest';
import { analyticFrame, widthsThroughPixel } from '../../workers/simulate/analytic.ts';
import type { FitsCard } from '../../workers/simulate/fits.ts';
import { measureFrame, median, pairUp, rowsOf, scatter, spread } from '../support/star-frames.ts';

const GAIN = 0.8;

/** Some 220 stars of signal to noise 10 to 300, each at its own place in its pixel. */
async function starsOfAllBrightness(mosaic: 'GRBG' | null) {
  const [widthPx, heightPx] = [900, 700];
  const stars = scatter(220, widthPx, heightPx, 34, 20, 5).map((place, i) => ({
    ...place,
    fluxElectrons: 900 * 10 ** ((2.2 * i) / 220),
  }));
  const scene = {
    profile: 'moffat' as const,
    beta: 3.2,
    fwhmPx: 3.4,
    axisRatio: 1.15,
    angleDeg: -50,
    widthPx,
    heightPx,
    stars,
    skyElectrons: 60,
    readNoiseElectrons: 2,
    gainElectronsPerAdu: GAIN,
    offsetAdu: 300,
    mosaic,
    seed: 21,
  };
  const cards: FitsCard[] = [['EGAIN', GAIN]];
  if (mosaic) cards.push(['BAYERPAT', mosaic]);
  const { stars: table } = await measureFrame(analyticFrame(scene), cards);
  const { pairs } = pairUp(stars, rowsOf(table));
  return { pairs, truth: widthsThroughPixel(scene) };
}

describe.each([null, 'GRBG'] as const)('a standard error is one (mosaic %s)', (mosaic) => {
  let result: Awaited<ReturnType<typeof starsOfAllBrightness>>;
  beforeAll(async () => {
    result = await starsOfAllBrightness(mosaic);
  }, 60_000);

  test.each([
    ['faint', 10, 50],
    ['bright', 50, 400],
  ])('%s stars: value minus truth over sigma scatters by one', (_, from, to) => {
    const { pairs } = result;
    const chosen = pairs.filter(
      ({ found }) => found.snr >= from && found.snr < to && found.flags.length === 0,
    );
    expect(chosen.length).toBeGreaterThan(50);
    const pulls = {
      x: chosen.map(({ truth, found }) => (found.xPx - truth.xPx) / found.positionSigmaPx),
      y: chosen.map(({ truth, found }) => (found.yPx - truth.yPx) / found.positionSigmaPx),
      // Biases common to all stars are held elsewhere: here the scatter about the median counts.
      fwhm: centred(chosen.map(({ found }) => [found.fwhmPx, found.fwhmSigmaPx])),
      hfd: centred(chosen.map(({ found }) => [found.hfdPx, found.hfdSigmaPx])),
      e1: centred(chosen.map(({ found }) => [found.e1, found.eSigma])),
      e2: centred(chosen.map(({ found }) => [found.e2, found.eSigma])),
    };
    // The spread by the median deviation of n Gaussian pulls has a standard error of 1.17 / sqrt(n) (efficiency 37 %).
    for (const [name, values] of Object.entries(pulls))
      expect(Math.abs(spread(values) - 1), `${name}: ${spread(values)}`).toBeLessThan(
        0.1 + (2.5 * 1.17) / Math.sqrt(values.length),
      );
  });

  test('faint stars are not systematically wider or narrower than bright ones', () => {
    const { pairs } = result;
    const clean = pairs.filter(({ found }) => found.flags.length === 0);
    const faint = clean.filter(({ found }) => found.snr < 25).map(({ found }) => found.fwhmPx);
    const bright = clean.filter(({ found }) => found.snr >= 80).map(({ found }) => found.fwhmPx);
    const error = Math.hypot(
      (1.2533 * spread(faint)) / Math.sqrt(faint.length),
      (1.2533 * spread(bright)) / Math.sqrt(bright.length),
    );
    // A maximum-likelihood width is biased in the second order of its own relative error, here some 8 % squared.
    expect(Math.abs(median(faint) / median(bright) - 1)).toBeLessThan(0.01 + (3 * error) / median(bright));
  });
});

function centred(values: [value: number, sigma: number][]): number[] {
  const middle = median(values.map(([value]) => value));
  return values.map(([value, sigma]) => (value - middle) / sigma);
}
