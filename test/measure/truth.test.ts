import { beforeAll, describe, expect, test } from 'vitest';
import { analyticFrame, widthsThroughPixel } from '../../workers/simulate/analytic.ts';
import type { ProfileName } from '../../workers/simulate/profiles.ts';
import type { FitsCard } from '../../workers/simulate/fits.ts';
import {
  mean,
  measureFrame,
  median,
  medianError,
  pairUp,
  rms,
  rowsOf,
  scatter,
} from '../support/star-frames.ts';

const GAIN = 0.8;
const SKY = 100;
const READ = 2;
const ANGLE = 25;

interface Case {
  profile: ProfileName;
  beta?: number;
  fwhmPx: number;
  axisRatio: number;
  mosaic: 'RGGB' | null;
}

const CASES: Case[] = [
  { profile: 'gaussian', fwhmPx: 1.6, axisRatio: 1, mosaic: null },
  { profile: 'gaussian', fwhmPx: 2.5, axisRatio: 4 / 3, mosaic: 'RGGB' },
  { profile: 'gaussian', fwhmPx: 8, axisRatio: 4 / 3, mosaic: null },
  { profile: 'moffat', beta: 2.5, fwhmPx: 4, axisRatio: 1, mosaic: null },
  { profile: 'moffat', beta: 3.5, fwhmPx: 2.5, axisRatio: 4 / 3, mosaic: null },
  { profile: 'moffat', beta: 3.5, fwhmPx: 4, axisRatio: 1, mosaic: 'RGGB' },
  { profile: 'moffat', beta: 4.5, fwhmPx: 1.6, axisRatio: 4 / 3, mosaic: null },
  { profile: 'kolmogorov', fwhmPx: 2.5, axisRatio: 1, mosaic: null },
  { profile: 'kolmogorov', fwhmPx: 4, axisRatio: 4 / 3, mosaic: 'RGGB' },
  { profile: 'kolmogorov', fwhmPx: 8, axisRatio: 1, mosaic: null },
];

/** Equal lone stars at random places; the truth is what the analytic picture's own grid gives, the pixel included. */
async function measuredCase(shape: Case) {
  const { fwhmPx, mosaic } = shape;
  const [widthPx, heightPx] = [640, 480];
  const fluxElectrons = 2e4 * fwhmPx;
  const stars = scatter(60, widthPx, heightPx, Math.max(22, 9 * fwhmPx), 6 * fwhmPx + 4, 11).map((place) => ({
    ...place,
    fluxElectrons,
  }));
  const scene = {
    ...shape,
    angleDeg: ANGLE,
    widthPx,
    heightPx,
    stars,
    skyElectrons: SKY,
    readNoiseElectrons: READ,
    gainElectronsPerAdu: GAIN,
    offsetAdu: 500,
    seed: 3,
  };
  const cards: FitsCard[] = [['EGAIN', GAIN]];
  if (mosaic) cards.push(['BAYERPAT', mosaic]);
  const measured = await measureFrame(analyticFrame(scene), cards);
  const matched = pairUp(stars, rowsOf(measured.stars));
  return { ...matched, truth: widthsThroughPixel(shape), fluxElectrons, report: measured.report };
}

const title = ({ profile, beta, fwhmPx, axisRatio, mosaic }: Case) =>
  `${profile}${beta ? ` beta ${beta}` : ''}, ${fwhmPx} px, axes ${axisRatio.toFixed(2)}, ${mosaic ?? 'mono'}`;

describe.each(CASES.map((shape) => [title(shape), shape] as const))('%s', (_, shape) => {
  let result: Awaited<ReturnType<typeof measuredCase>>;
  beforeAll(async () => {
    result = await measuredCase(shape);
  }, 60_000);
  /** Bias of a quantity within a limit, three standard errors of the median of the stars allowed on top. */
  const expectBias = (values: number[], limit: number, what: string) =>
    expect(Math.abs(median(values)), `${what}: ${median(values)} ± ${medianError(values)}`).toBeLessThan(
      limit + 3 * medianError(values),
    );

  test('every star is found once, nothing else', () => {
    const { missed, extra, pairs, report } = result;
    expect(missed).toEqual([]);
    expect(extra).toEqual([]);
    expect(report.fault).toBeNull();
    const flags = new Set(pairs.flatMap(({ found }) => found.flags));
    flags.delete('undersampled');
    expect([...flags]).toEqual([]);
  });

  test('position without bias, scattered as its error says', () => {
    const { pairs } = result;
    for (const axis of ['xPx', 'yPx'] as const) {
      const off = pairs.map(({ truth, found }) => found[axis] - truth[axis]);
      expectBias(off, 0.001, axis);
      const pulls = off.map((value, i) => value / pairs[i].found.positionSigmaPx);
      // Standard error of the rms of n pulls: 1 / sqrt(2 n), 0.13 for 32 stars.
      expect(Math.abs(rms(pulls) - 1)).toBeLessThan(3 / Math.sqrt(2 * pulls.length));
    }
  });

  test('FWHM within 1 % and half-flux diameter within 2 % of the truth', () => {
    const { pairs, truth } = result;
    expectBias(
      pairs.map(({ found }) => found.fwhmPx / truth.fwhmPx - 1),
      0.01,
      'FWHM',
    );
    expectBias(
      pairs.map(({ found }) => found.hfdPx / truth.hfdPx - 1),
      0.02,
      'HFD',
    );
  });

  test('elongation and angle', () => {
    const { pairs } = result;
    // The pixel adds 1/12 to each axis (Bertin & Arnouts 1996): exact for a Gaussian; for the others with the width at
    // half height in place of the second moments, which are infinite for Kolmogorov's, good to some thousandths.
    const s2 = shape.fwhmPx ** 2 / (8 * Math.LN2);
    const [a2, b2] = [s2 * shape.axisRatio + 1 / 12, s2 / shape.axisRatio + 1 / 12];
    const e = (a2 - b2) / (a2 + b2);
    const [c, s] = [Math.cos((2 * ANGLE * Math.PI) / 180), Math.sin((2 * ANGLE * Math.PI) / 180)];
    expectBias(
      pairs.map(({ found }) => found.e1 * c + found.e2 * s - e),
      shape.profile === 'gaussian' || shape.axisRatio === 1 ? 0.002 : 0.005,
      'e along',
    );
    expectBias(
      pairs.map(({ found }) => found.e2 * c - found.e1 * s),
      0.002,
      'e across',
    );
  });

  test('flux within 2 %, signal to noise by its formula', () => {
    const { pairs, truth, fluxElectrons } = result;
    expectBias(
      pairs.map(({ found }) => (found.fluxAdu * GAIN) / fluxElectrons - 1),
      0.02,
      'flux',
    );
    // Matched aperture of a Gaussian with the star's width, effective area 4 pi s^2 (King 1983, PASP 95, 163), photon
    // noise of the star's own light; a mosaic collects half of all that.
    const share = shape.mosaic ? 0.5 : 1;
    const area = 4 * Math.PI * (truth.fwhmPx ** 2 / (8 * Math.LN2));
    const light = fluxElectrons * share;
    const snr = light / Math.sqrt(light + area * share * (SKY + READ ** 2));
    expect(Math.abs(mean(pairs.map(({ found }) => found.snr)) / snr - 1)).toBeLessThan(0.04);
  });
});
