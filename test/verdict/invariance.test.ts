import { beforeAll, describe, expect, test } from 'vitest';
import type { BudgetPlace, Estimate } from '../../workers/protocol/report.ts';
import { simulateExposure } from '../../workers/simulate/exposure.ts';
import { makeScene } from '../../workers/simulate/scene.ts';
import { explained, type Explained } from '../support/explained.ts';
import { moved, type Move } from '../support/moved.ts';

// What is done to the pixels must be done to the physics, and the blur does not change by it: no source but geometry.
// The noise is the same; what may differ is which stars are taken and where the fit stops, well below one sigma.

const WIDTH = 720;
const HEIGHT = 560;
const PIXEL_UM = 3.8;

/** A leaning sensor, mirrors out of line, and a drift: each with a direction. */
const scene = makeScene({
  rig: { widthPx: WIDTH, heightPx: HEIGHT, focalLengthMm: 500, focalRatio: 4, pixelSizeUm: PIXEL_UM },
  optics: { focusUm: 8, tiltUmPerMm: { x: 30, y: -18 }, comaConstantUm: { x: 0.25, y: 0.2 } },
  sky: { seeingArcsec: 3 },
  motion: [{ kind: 'drift', vectorUm: { x: 5, y: 7 } }],
  stars: { count: 60, faintestElectrons: 6000, brightestElectrons: 200_000, slope: 0.4 },
  seed: 31,
});
const RIG = {
  focalLengthMm: 500,
  apertureMm: 125,
  pixelSizeUm: PIXEL_UM,
  obstruction: scene.rig.obstruction,
};

interface Turn extends Move {
  name: string;
  egain?: number;
  /** Where a direction goes, and where a corner. */
  vector: (x: number, y: number) => [number, number];
  corner: (col: number, row: number) => [number, number];
}

const keep = (x: number, y: number): [number, number] => [x, y];
const TURNS: Turn[] = [
  {
    name: 'flip x',
    size: [WIDTH, HEIGHT],
    from: (x, y) => [WIDTH - 1 - x, y],
    vector: (x, y) => [-x, y],
    corner: (col, row) => [1 - col, row],
  },
  {
    name: 'flip y',
    size: [WIDTH, HEIGHT],
    from: (x, y) => [x, HEIGHT - 1 - y],
    vector: (x, y) => [x, -y],
    corner: (col, row) => [col, 1 - row],
  },
  {
    name: 'rotate by 90 degrees',
    size: [HEIGHT, WIDTH],
    from: (x, y) => [y, HEIGHT - 1 - x],
    vector: (x, y) => [-y, x],
    corner: (col, row) => [1 - row, col],
  },
  {
    name: 'numbers times two and an offset of 1500',
    size: [WIDTH, HEIGHT],
    from: keep,
    value: (v) => Math.min(65535, 2 * v + 1500),
    egain: scene.rig.gainElectronsPerAdu / 2,
    vector: keep,
    corner: keep,
  },
];

const cards = (egain = scene.rig.gainElectronsPerAdu): [string, number][] => [
  ['EXPTIME', 10],
  ['EGAIN', egain],
];
const frame = simulateExposure(scene);

const within = (found: Estimate | null, want: number, sigma: number, what: string) =>
  expect(Math.abs(found!.value - want) / Math.max(sigma, 1e-9), what).toBeLessThan(0.5);

describe('what is done to the pixels is done to the physics', () => {
  let before: Explained;
  beforeAll(async () => {
    before = await explained(frame, cards(), RIG);
  }, 120_000);
  const total = ({ budget }: Explained, where: BudgetPlace) =>
    budget.find((entry) => entry.where === where)!.variancePx2;

  test('the frame is worth it: three causes found', () => {
    const parts = total(before, 'corners');
    for (const part of ['tilt', 'collimation', 'trailing'] as const)
      expect(parts[part] / parts.total, part).toBeGreaterThan(0.08);
  });

  test.each(TURNS)('$name', async (turn) => {
    const after = await explained(moved(frame, turn), cards(turn.egain), RIG);
    const { model } = before;
    const tilt = [model.tiltUmPerMm.x!, model.tiltUmPerMm.y!];
    const coma = [model.coma.constantUm.x!, model.coma.constantUm.y!];
    // Even terms share a sign that the frame does not know: compare the leaning up to it.
    const wantTilt = turn.vector(tilt[0].value, tilt[1].value);
    const along =
      after.model.tiltUmPerMm.x!.value * wantTilt[0] + after.model.tiltUmPerMm.y!.value * wantTilt[1];
    const sign = along < 0 ? -1 : 1;
    const tiltSigma = Math.max(tilt[0].sigma, tilt[1].sigma);
    within(after.model.tiltUmPerMm.x, sign * wantTilt[0], tiltSigma, 'tilt x');
    within(after.model.tiltUmPerMm.y, sign * wantTilt[1], tiltSigma, 'tilt y');
    const wantComa = turn.vector(coma[0].value, coma[1].value);
    const comaSigma = Math.max(coma[0].sigma, coma[1].sigma);
    within(after.model.coma.constantUm.x, wantComa[0], comaSigma, 'coma x');
    within(after.model.coma.constantUm.y, wantComa[1], comaSigma, 'coma y');
    within(after.model.motion.lengthPx, model.motion.lengthPx!.value, model.motion.lengthPx!.sigma, 'trail');
    within(
      after.model.roundBlurFwhmPx,
      model.roundBlurFwhmPx!.value,
      model.roundBlurFwhmPx!.sigma,
      'round blur',
    );
    expect(after.verdict.cause).toBe(before.verdict.cause);
    for (const col of [0, 1])
      for (const row of [0, 1]) {
        const [toCol, toRow] = turn.corner(col, row);
        const was = total(before, `c${col}r${row}` as BudgetPlace).total;
        const is = total(after, `c${toCol}r${toRow}` as BudgetPlace).total;
        expect(is / was, `corner ${col} ${row}`).toBeCloseTo(1, 1);
      }
    expect(total(after, 'corners').total / total(before, 'corners').total).toBeCloseTo(1, 1.7);
  });
});

describe('frames without anything to find', () => {
  const nothing = (changes: Parameters<typeof makeScene>[0]) =>
    simulateExposure(makeScene({ rig: { widthPx: 640, heightPx: 480 }, ...changes }));

  test('noise only: no stars, so no cause', async () => {
    const noise = nothing({
      stars: [],
      disturbances: { hotPixels: 200, cosmicRays: 4, galaxies: 0, satellite: false },
    });
    await expect(explained(noise, cards(), RIG)).rejects.toThrow(/stars/);
  });

  test.each([1, 2, 3])('round stars in the noise, seed %i: nothing worth fixing', async (seed) => {
    const round = nothing({
      rig: { widthPx: 640, heightPx: 480, focalLengthMm: 500, focalRatio: 4, pixelSizeUm: PIXEL_UM },
      sky: { seeingArcsec: 3 },
      stars: { count: 45, faintestElectrons: 4000, brightestElectrons: 200_000, slope: 0.4 },
      seed,
    });
    const { verdict, causes } = await explained(round, cards(), RIG);
    expect(verdict).toMatchObject({ cause: 'clean', family: 'none' });
    for (const { cause, significance } of causes) expect(significance, cause).toBeLessThan(5);
  });
});
