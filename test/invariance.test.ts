import { beforeAll, describe, expect, test } from 'vitest';
import type { Measured } from '../workers/protocol/api.ts';
import type { FitsCard } from '../workers/simulate/fits.ts';
import { simulateExposure } from '../workers/simulate/exposure.ts';
import { makeScene } from '../workers/simulate/scene.ts';
import { moved, type Move } from './support/moved.ts';
import { measureFrame, pairUp, rowsOf, type Row } from './support/star-frames.ts';

// What is done to the pixels must be done to the answer: no source but geometry. Each change keeps the noise, so the
// numbers may differ only by what the mesh of the sky and its sampling make of it: a small part of their errors.

const WIDTH = 520;
const HEIGHT = 400;

/** Stars with coma, tilt, astigmatism and drift: every number has a direction, and differs over the field. */
const sceneOf = (mosaic: 'RGGB' | null) =>
  makeScene({
    rig: { widthPx: WIDTH, heightPx: HEIGHT, focalRatio: 4, mosaic, offsetAdu: 600 },
    optics: {
      focusUm: 12,
      tiltUmPerMm: { x: 14, y: -9 },
      comaStrength: 1,
      comaConstantUm: { x: 0.35, y: 0.2 },
      trefoilUm: { cos: 0.08, sin: 0.12 },
    },
    sky: { seeingArcsec: 2.6 },
    motion: [{ kind: 'drift', vectorUm: { x: 4, y: 6 } }],
    stars: { count: 75, faintestElectrons: 4000, brightestElectrons: 300_000, slope: 0.5 },
    seed: 20,
  });

const frames = { mono: simulateExposure(sceneOf(null)), mosaic: simulateExposure(sceneOf('RGGB')) };

interface Change extends Move {
  name: string;
  egain?: number;
  bayer: string;
  /** A measured row of the original as it must come out. */
  row: (row: Row) => Partial<Row>;
  /** Where a region goes. */
  cell: (col: number, row: number) => [number, number];
  /** How much of its standard error a number may move. */
  slack: number;
}

const same = (row: Row) => ({ xPx: row.xPx, yPx: row.yPx });
const stay = (col: number, row: number): [number, number] => [col, row];

const CHANGES: Change[] = [
  {
    name: 'flip x',
    size: [WIDTH, HEIGHT],
    from: (x, y) => [WIDTH - 1 - x, y],
    bayer: 'GRBG',
    // z -> -conj z: e2 changes sign, so does x of the comet and of the clover z³.
    row: (r) => ({
      xPx: WIDTH - 1 - r.xPx,
      yPx: r.yPx,
      e2: -r.e2,
      comet: [-r.comet[0], r.comet[1]],
      clover: [-r.clover[0], r.clover[1]],
    }),
    cell: (col, row) => [2 - col, row],
    slack: 0.3,
  },
  {
    name: 'flip y',
    size: [WIDTH, HEIGHT],
    from: (x, y) => [x, HEIGHT - 1 - y],
    bayer: 'GBRG',
    row: (r) => ({
      xPx: r.xPx,
      yPx: HEIGHT - 1 - r.yPx,
      e2: -r.e2,
      comet: [r.comet[0], -r.comet[1]],
      clover: [r.clover[0], -r.clover[1]],
    }),
    cell: (col, row) => [col, 2 - row],
    slack: 0.3,
  },
  {
    name: 'rotate by 90 degrees',
    size: [HEIGHT, WIDTH],
    from: (x, y) => [y, HEIGHT - 1 - x],
    bayer: 'GRBG',
    // z -> i z: spin 2 turns round, z³ goes to -i z³.
    row: (r) => ({
      xPx: HEIGHT - 1 - r.yPx,
      yPx: r.xPx,
      e1: -r.e1,
      e2: -r.e2,
      comet: [-r.comet[1], r.comet[0]],
      clover: [r.clover[1], -r.clover[0]],
    }),
    cell: (col, row) => [2 - row, col],
    slack: 0.3,
  },
  {
    name: 'numbers times two',
    size: [WIDTH, HEIGHT],
    from: (x, y) => [x, y],
    value: (v) => Math.min(65535, 2 * v),
    egain: 0.4,
    bayer: 'RGGB',
    row: (r) => ({ ...same(r), fluxAdu: 2 * r.fluxAdu }),
    cell: stay,
    slack: 0.1,
  },
  {
    name: 'an offset of 3000',
    size: [WIDTH, HEIGHT],
    from: (x, y) => [x, y],
    value: (v) => Math.min(65535, v + 3000),
    bayer: 'RGGB',
    row: same,
    cell: stay,
    slack: 0.05,
  },
];

/** Stars whose numbers mean something; both sides must list the same ones. */
const solid = (measured: Measured) =>
  rowsOf(measured.stars).filter((row) => row.snr > 20 && row.flags.every((flag) => flag === 'undersampled'));

const cardsFor = (kind: 'mono' | 'mosaic', bayer: string, egain = 0.8): FitsCard[] => [
  ['EGAIN', egain],
  ...(kind === 'mosaic' ? [['BAYERPAT', bayer] as FitsCard] : []),
];

describe.each(['mono', 'mosaic'] as const)('%s', (kind) => {
  let original: Measured;
  beforeAll(async () => {
    original = await measureFrame(frames[kind], cardsFor(kind, 'RGGB'));
  });

  test('the frame is worth it: enough stars with enough direction', () => {
    const rows = solid(original);
    expect(rows.length).toBeGreaterThan(30);
    expect(Math.max(...rows.map((row) => Math.hypot(row.e1, row.e2)))).toBeGreaterThan(0.15);
    expect(Math.max(...rows.map((row) => Math.hypot(...row.comet)))).toBeGreaterThan(0.1);
  });

  test.each(CHANGES)('$name', async (change) => {
    const before = original;
    const after = await measureFrame(moved(frames[kind], change), cardsFor(kind, change.bayer, change.egain));
    const expected = solid(before).map((row) => ({ ...row, ...change.row(row) }));
    const { pairs, missed, extra } = pairUp(expected, rowsOf(after.stars), 0.5);
    expect(missed).toEqual([]);
    expect(extra.filter((row) => row.snr > 25 && row.flags.length === 0)).toEqual([]);
    for (const { truth: want, found: got } of pairs) {
      const close = (name: string, a: number, b: number, sigma: number) =>
        expect(Math.abs(a - b) / sigma, `${name} of the star at ${want.xPx}, ${want.yPx}`).toBeLessThan(
          change.slack,
        );
      close('x', got.xPx, want.xPx, want.positionSigmaPx);
      close('y', got.yPx, want.yPx, want.positionSigmaPx);
      close('fwhm', got.fwhmPx, want.fwhmPx, want.fwhmSigmaPx);
      // The light is summed far out over the mesh of the sky, which takes other rows and cells now.
      close('hfd', got.hfdPx, want.hfdPx, 4 * want.hfdSigmaPx);
      close('flux', got.fluxAdu, want.fluxAdu, (4 * want.fluxAdu) / want.snr);
      close('e1', got.e1, want.e1, want.eSigma);
      close('e2', got.e2, want.e2, want.eSigma);
      // Third moments have about the relative error of e, times a few.
      for (const i of [0, 1]) {
        close('comet', got.comet[i], want.comet[i], 5 * want.eSigma);
        close('clover', got.clover[i], want.clover[i], 5 * want.eSigma);
      }
      expect(got.flags).toEqual(want.flags);
    }

    for (const region of before.report.regions) {
      const [col, row] = change.cell(region.col, region.row);
      const there = after.report.regions.find((other) => other.col === col && other.row === row)!;
      // Stars near the limit of what counts may come or go; cells of few stars are not compared.
      if (region.stars < 4 || Math.abs(there.stars - region.stars) > 0) continue;
      for (const name of ['fwhmPx', 'hfdPx', 'elongation'] as const)
        // The sky mesh samples every second row, and the halo in the half-flux diameter stands on the mesh.
        expect(Math.abs(there[name]!.value - region[name]!.value) / region[name]!.sigma, name).toBeLessThan(
          name === 'hfdPx' ? 0.5 : 0.3,
        );
    }
  });

  test('crop: stars, angles and sizes of what remains', async () => {
    const [left, top] = [37, 53];
    const [widthPx, heightPx] = [441, 312];
    const pixels = Uint16Array.from(
      { length: widthPx * heightPx },
      (_, i) => frames[kind].pixels[(Math.floor(i / widthPx) + top) * WIDTH + (i % widthPx) + left],
    );
    // Odd steps in both directions: the blue corner comes first.
    const after = await measureFrame({ pixels, widthPx, heightPx }, cardsFor(kind, 'BGGR'));
    const inside = solid(original)
      .map((row) => ({ ...row, xPx: row.xPx - left, yPx: row.yPx - top }))
      .filter(({ xPx, yPx }) => xPx > 25 && yPx > 25 && xPx < widthPx - 26 && yPx < heightPx - 26);
    const { pairs, missed } = pairUp(inside, rowsOf(after.stars), 0.5);
    expect(missed).toEqual([]);
    for (const { truth: want, found: got } of pairs) {
      // Other cells of the sky, other stars that decide on the wings and on the calibration.
      expect(Math.abs(got.xPx - want.xPx) / want.positionSigmaPx).toBeLessThan(0.5);
      expect(Math.abs(got.yPx - want.yPx) / want.positionSigmaPx).toBeLessThan(0.5);
      expect(Math.abs(got.e1 - want.e1) / want.eSigma).toBeLessThan(0.5);
      expect(Math.abs(got.e2 - want.e2) / want.eSigma).toBeLessThan(0.5);
      // The calibration of the widths comes from the stars of the same ninth of the sensor, here some four, and not the
      // same ones now: a few per cent, more on the half of the pixels that a mosaic leaves.
      expect(Math.abs(got.fwhmPx / want.fwhmPx - 1)).toBeLessThan(kind === 'mono' ? 0.04 : 0.06);
      expect(Math.abs(got.hfdPx - want.hfdPx) / want.hfdSigmaPx).toBeLessThan(2);
    }
  });
});

test('a mosaic read with the wrong pattern would not follow: the greens would be red and blue', async () => {
  // A check of the test itself: the frame's three colours differ, so a wrong diagonal must be seen.
  const right = solid(await measureFrame(frames.mosaic, cardsFor('mosaic', 'RGGB')));
  const wrong = rowsOf((await measureFrame(frames.mosaic, cardsFor('mosaic', 'GRBG'))).stars);
  const { pairs } = pairUp(right, wrong, 1);
  const ratios = pairs.map(({ truth, found }) => found.fluxAdu / truth.fluxAdu).sort((a, b) => a - b);
  expect(Math.abs(ratios[ratios.length >> 1] - 1)).toBeGreaterThan(0.1);
});
