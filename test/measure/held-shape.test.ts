import { expect, test } from 'vitest';
import { analyticFrame } from '../../workers/simulate/analytic.ts';
import { createRandom } from '../../workers/simulate/random.ts';
import { measureFrame, pairUp, rowsOf } from '../support/star-frames.ts';

const [COLS, ROWS, CELL] = [20, 16, 26];
const shape = { profile: 'gaussian' as const, fwhmPx: 1.6 };

/** Stars of SNR 12 on the greens of a mosaic (matched aperture, half of the pixels), one in ten bright. */
const stars = Array.from({ length: COLS * ROWS }, (_, n) => ({
  xPx: ((n % COLS) + 0.5) * CELL + ((0.377 * n) % 1),
  yPx: (Math.floor(n / COLS) + 0.5) * CELL + ((0.713 * n) % 1),
  fluxElectrons: n % 10 === 0 ? 20_000 : 690,
}));

const draw = (list: typeof stars) =>
  analyticFrame({
    ...shape,
    widthPx: COLS * CELL,
    heightPx: ROWS * CELL,
    stars: list,
    mosaic: 'RGGB',
    skyElectrons: 60,
    readNoiseElectrons: 2,
    gainElectronsPerAdu: 0.8,
    offsetAdu: 400,
    seed: 21,
  });
const CARDS: [string, string | number][] = [
  ['EGAIN', 0.8],
  ['BAYERPAT', 'RGGB'],
];

test('faint stars narrower than the steps between the greens are listed, with or without a width of their own', async () => {
  const { stars: table } = await measureFrame(draw(stars), CARDS);
  const { pairs, missed, extra } = pairUp(stars, rowsOf(table), 2);
  expect(missed.length / stars.length).toBeLessThan(0.03);
  expect(extra).toEqual([]);
  const held = pairs.filter(({ found }) => found.flags.includes('unfitted')).map(({ found }) => found);
  // It happens: else this test would show nothing.
  expect(held.length).toBeGreaterThan(10);
  for (const { fwhmPx, fwhmSigmaPx, positionSigmaPx } of held) {
    expect([fwhmPx, fwhmSigmaPx]).toEqual([NaN, NaN]);
    expect(positionSigmaPx).toBeLessThan(0.3);
  }
  // Their light is that of the others, at SNR 12 with 30 of them: 0.08 / sqrt(30) and the noise's own preference.
  const flux = held.map(({ fluxAdu }) => (fluxAdu * 0.8) / 690).sort((a, b) => a - b);
  expect(Math.abs(flux[flux.length >> 1] - 1)).toBeLessThan(0.12);
});

test('a single bright pixel among undersampled stars is no star with a held shape', async () => {
  const frame = analyticFrame({
    profile: 'gaussian',
    fwhmPx: 1.6,
    widthPx: COLS * CELL,
    heightPx: ROWS * CELL,
    stars: stars.filter((_, n) => n % 10 === 0),
    skyElectrons: 60,
    readNoiseElectrons: 2,
    gainElectronsPerAdu: 0.8,
    offsetAdu: 400,
    seed: 22,
  });
  const random = createRandom(8);
  // Twelve to thirty times the noise of 10 ADU, half-way between the stars.
  for (let n = 0; n < 150; n++) {
    const x = random.integer(COLS) * CELL;
    const y = random.integer(ROWS) * CELL;
    frame.pixels[y * frame.widthPx + x] += 120 + 180 * random.uniform();
  }
  const { stars: table } = await measureFrame(frame, [['EGAIN', 0.8]]);
  const { extra } = pairUp(stars, rowsOf(table), 4);
  expect(extra).toEqual([]);
});
