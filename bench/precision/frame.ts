import {
  analyticElectrons,
  widthsThroughPixel,
  type AnalyticProfile,
} from '../../workers/simulate/analytic.ts';
import type { MosaicName } from '../../workers/simulate/mosaic.ts';
import type { ProfileName } from '../../workers/simulate/profiles.ts';
import { createRandom } from '../../workers/simulate/random.ts';

/** One line of the table: equal stars of one profile, width, shape and signal to noise, on one kind of sensor. */
export interface Case {
  profile: ProfileName;
  beta?: number;
  fwhmPx: number;
  axisRatio: number;
  snr: number;
  mosaic: MosaicName | null;
}

export const SKY_ELECTRONS = 60;
export const READ_ELECTRONS = 2;
export const ANGLE_DEG = 25;
export const OFFSET_ADU = 400;
/** Places of a star's centre within its pixel that are drawn; each is used for many stars with noise of their own. */
const PHASES = 20;
const STARS = 200;
/** Bright stars among the others, as every real frame has them: they tell the frame's wings and scale. */
const ANCHORS = 16;
const ANCHOR_SNR = 400;

/** Stars narrower than what the bounds are promised for. */
export const COARSE_PX = 1.2;

export function allCases(widths = [1.6, 2.5, 4, 8]): Case[] {
  const profiles: Pick<Case, 'profile' | 'beta'>[] = [
    { profile: 'gaussian' },
    { profile: 'moffat', beta: 3 },
    { profile: 'kolmogorov' },
  ];
  return [null, 'RGGB' as const].flatMap((mosaic) =>
    profiles.flatMap((profile) =>
      widths.flatMap((fwhmPx) =>
        [1, 4 / 3].flatMap((axisRatio) =>
          [10, 30, 100, 1000].map((snr) => ({ ...profile, fwhmPx, axisRatio, snr, mosaic })),
        ),
      ),
    ),
  );
}

/** What a perfect measurement would find. */
export interface CaseTruth {
  fwhmPx: number;
  hfdPx: number;
  /** Distortion as seen through the pixel. */
  e: number;
}

const seenWidths = new Map<string, { fwhmPx: number; hfdPx: number }>();

export function truthOf({ profile, beta, fwhmPx, axisRatio }: Case): CaseTruth {
  const shape = { profile, beta, fwhmPx, axisRatio, angleDeg: ANGLE_DEG };
  const key = JSON.stringify(shape);
  if (!seenWidths.has(key)) seenWidths.set(key, widthsThroughPixel(shape));
  return { ...seenWidths.get(key)!, e: seenDistortion(fwhmPx, (axisRatio ** 2 - 1) / (axisRatio ** 2 + 1)) };
}

/** The pixel adds 1/12 px² to both axes of s² (1 ± e) / sqrt(1 - e²), s the rms of the Gaussian of the same width. */
export function seenDistortion(fwhmPx: number, e: number): number {
  const mean = fwhmPx ** 2 / (8 * Math.LN2) / Math.sqrt(1 - e * e);
  return (mean * e) / (mean + 1 / 12);
}

/** Flux in electrons (of an unfiltered sensor) that gives a signal to noise in a matched aperture, 4 pi s² pixels. */
export function fluxFor(snr: number, seenFwhmPx: number, share: number): number {
  const area = (4 * Math.PI * seenFwhmPx ** 2) / (8 * Math.LN2);
  const noise = area * share * (SKY_ELECTRONS + READ_ELECTRONS ** 2);
  return (snr ** 2 + Math.sqrt(snr ** 4 + 4 * snr ** 2 * noise)) / 2 / share;
}

/** Expected light of one star of flux 1 with its centre at (dx, dy) from the middle pixel of an odd square. */
export function starTemplate(shape: AnalyticProfile, side: number, dx: number, dy: number): Float64Array {
  const middle = (side - 1) / 2;
  const flux = 1e9; // so bright that the wings are drawn all over the square
  return analyticElectrons({
    ...shape,
    widthPx: side,
    heightPx: side,
    stars: [{ xPx: middle + dx, yPx: middle + dy, fluxElectrons: flux }],
    skyElectrons: 0,
    readNoiseElectrons: 0,
    gainElectronsPerAdu: 1,
    offsetAdu: 0,
    seed: 1,
  }).map((electrons) => electrons / flux);
}

export interface PrecisionFrame {
  pixels: Uint16Array;
  widthPx: number;
  heightPx: number;
  gainElectronsPerAdu: number;
  /** Side of the square that each star has for itself. */
  cellPx: number;
  stars: { xPx: number; yPx: number }[];
}

/** A frame of 200 stars of one case, each alone in its cell, with the bright ones between them. */
export function drawCase(wish: Case, seed: number): PrecisionFrame {
  const truth = truthOf(wish);
  const share = wish.mosaic ? 0.5 : 1;
  const cell = 2 * Math.ceil(Math.max(13, 4.5 * wish.fwhmPx)) + 1;
  const cols = Math.ceil(Math.sqrt(STARS + ANCHORS));
  const rows = Math.ceil((STARS + ANCHORS) / cols);
  const [widthPx, heightPx] = [cols * cell, rows * cell];
  const { profile, beta, fwhmPx, axisRatio } = wish;
  const shape = { profile, beta, fwhmPx, axisRatio, angleDeg: ANGLE_DEG };
  const random = createRandom(seed);
  const phases = Array.from({ length: PHASES }, () => ({
    dx: random.uniform() - 0.5,
    dy: random.uniform() - 0.5,
  }));
  const templates = phases.map(({ dx, dy }) => starTemplate(shape, cell, dx, dy));
  const flux = fluxFor(wish.snr, truth.fwhmPx, share);
  const anchorFlux = fluxFor(ANCHOR_SNR, truth.fwhmPx, share);
  const peak = Math.max(flux, anchorFlux) * Math.max(...templates.map((t) => Math.max(...t)));
  const gainElectronsPerAdu = Math.max(0.5, peak / 55_000);

  const electrons = new Float64Array(widthPx * heightPx);
  const stars: PrecisionFrame['stars'] = [];
  const every = Math.floor((STARS + ANCHORS) / ANCHORS);
  for (let n = 0; n < STARS + ANCHORS; n++) {
    const phase = random.integer(PHASES);
    const [x0, y0] = [(n % cols) * cell, Math.floor(n / cols) * cell];
    const anchor = n % every === 0 && n / every < ANCHORS;
    for (let j = 0; j < cell; j++)
      for (let i = 0; i < cell; i++)
        electrons[(y0 + j) * widthPx + x0 + i] =
          (anchor ? anchorFlux : flux) * templates[phase][j * cell + i];
    const middle = (cell - 1) / 2;
    if (!anchor) stars.push({ xPx: x0 + middle + phases[phase].dx, yPx: y0 + middle + phases[phase].dy });
  }
  const filters = { R: 0.6, G: 1, B: 0.5 };
  const pixels = Uint16Array.from(electrons, (light, i) => {
    const colour = wish.mosaic?.[((i % widthPx) & 1) + 2 * (Math.floor(i / widthPx) & 1)] as 'R' | 'G' | 'B';
    const through = wish.mosaic ? filters[colour] : 1;
    const charge = random.poisson((light + SKY_ELECTRONS) * through) + READ_ELECTRONS * random.normal();
    return Math.max(0, Math.min(65535, Math.round(OFFSET_ADU + charge / gainElectronsPerAdu)));
  });
  return { pixels, widthPx, heightPx, gainElectronsPerAdu, cellPx: cell, stars };
}
