import { describe, expect, test } from 'vitest';
import type { FitsCard } from '../../workers/simulate/fits.ts';
import {
  brushHfdPx,
  brushMoments,
  kickBrush,
  paint,
  ringBrush,
  trailBrush,
  type Brush,
} from '../support/painted.ts';
import { measureFrame, median, medianError, pairUp, rowsOf, scatter } from '../support/star-frames.ts';

// Stars that are nothing like a point: each is one star, not several and not none. The pictures are drawn by
// test/support/painted.ts, a sum of spots, which shares nothing with the simulator or with what measures.

const CARDS: FitsCard[] = [['EGAIN', 1]];

async function field(
  brush: Brush,
  apartPx: number,
  fluxElectrons: number,
  mosaic: string | null = null,
  withinPx = 4,
) {
  const [widthPx, heightPx] = [760, 600];
  const stars = scatter(40, widthPx, heightPx, apartPx, apartPx * 0.7, 8).map((place, i) => ({
    ...place,
    fluxElectrons: fluxElectrons * (0.3 + 0.7 * (i / 40)),
  }));
  const frame = paint({
    widthPx,
    heightPx,
    stars,
    brush,
    skyElectrons: 60,
    readNoiseElectrons: 2,
    gainElectronsPerAdu: 1,
    offsetAdu: 300,
    seed: 17,
  });
  const measured = await measureFrame(frame, mosaic ? [...CARDS, ['BAYERPAT', mosaic]] : CARDS);
  return {
    stars,
    hfdPx: brushHfdPx(brush),
    ...pairUp(stars, rowsOf(measured.stars), withinPx),
    report: measured.report,
  };
}

describe('defocused rings', () => {
  test.each([
    [20, 7, 70, 3e5, null],
    [12, 4, 50, 1.2e5, null],
    [12, 4, 50, 2e5, 'RGGB'],
    [7, 3, 40, 5e4, null],
  ] as const)('outer radius %i px, inner %i: one star each', async (outer, inner, apart, flux, mosaic) => {
    const brush = ringBrush(outer, inner, 1.3);
    const { pairs, missed, extra, report, hfdPx } = await field(brush, apart, flux, mosaic);
    expect([missed, extra]).toEqual([[], []]);
    expect(report.fault).toBeNull();
    for (const { found } of pairs) {
      expect(found.flags).toContain('ring');
      // A width at half height of a ring means nothing and is not given.
      expect(found.fwhmPx).toBe(NaN);
    }
    const ratios = pairs.map(({ found }) => found.hfdPx / hfdPx);
    // The light is collected in rings of half a pixel, on a mosaic from half of the pixels.
    expect(Math.abs(median(ratios) - 1)).toBeLessThan(0.02 + 3 * medianError(ratios));
    const moments = brushMoments(brush);
    const rms = Math.sqrt((moments.xx + moments.yy) / 2);
    const widths = pairs.map(({ found }) => found.rmsPx / rms);
    expect(Math.abs(median(widths) - 1)).toBeLessThan(0.05 + 3 * medianError(widths));
    expect(report.sensor.fwhmPx).toBeNull();
    expect(Math.abs(report.sensor.hfdPx!.value / hfdPx - 1)).toBeLessThan(0.03);
  });

  test('a filled disc has no dark middle and is no ring', async () => {
    const { pairs, missed } = await field(ringBrush(5, 0, 1.3), 40, 6e4);
    expect(missed).toEqual([]);
    expect(pairs.filter(({ found }) => found.flags.includes('ring')).length).toBe(0);
  });
});

describe('kicked mounts draw every star twice', () => {
  test.each([
    [9, 5, 0.3],
    [-14, 8, 0.4],
    [0, 22, 0.25],
    [7, 0, 0.5],
  ])('second image at (%i, %i) with %f of the light: one star each', async (dx, dy, minority) => {
    // A faint one may be held by its brighter image, which lies this far from the centroid of both.
    const withinPx = Math.max(4, minority * Math.hypot(dx, dy) + 1);
    const brush = kickBrush(dx, dy, minority, 1.3);
    const { pairs, missed, extra, stars } = await field(brush, 70, 1.5e5, null, withinPx);
    expect(missed.length).toBeLessThanOrEqual(stars.length * 0.05);
    expect(extra.length).toBeLessThanOrEqual(stars.length * 0.05);
    expect(pairs.length).toBeGreaterThan(0);
  });

  test('but four chance doubles among thirty-six stars are not a kick', async () => {
    const [widthPx, heightPx] = [760, 600];
    const lone = scatter(36, widthPx, heightPx, 70, 45, 8).map((place) => ({ ...place, fluxElectrons: 1e5 }));
    const companions = lone
      .slice(0, 4)
      .map((star) => ({ xPx: star.xPx + 9, yPx: star.yPx + 12, fluxElectrons: 4e4 }));
    const stars = [...lone, ...companions];
    const frame = paint({
      widthPx,
      heightPx,
      stars,
      brush: kickBrush(0, 0, 0, 1.3),
      skyElectrons: 60,
      readNoiseElectrons: 2,
      gainElectronsPerAdu: 1,
      offsetAdu: 300,
      seed: 17,
    });
    const { missed, extra } = pairUp(stars, rowsOf((await measureFrame(frame, CARDS)).stars), 1);
    expect([missed, extra]).toEqual([[], []]);
  });
});

describe('trails', () => {
  test.each([
    [12, 20],
    [30, -35],
    [60, 70],
    [60, 0],
  ])('%i px long at %i degrees: one star each, along the trail', async (length, angleDeg) => {
    const brush = trailBrush(length, angleDeg, 1.4);
    const { pairs, missed, extra } = await field(brush, length + 40, 2e5);
    expect([missed, extra]).toEqual([[], []]);
    const { xx, yy, xy } = brushMoments(brush);
    const e = Math.hypot(xx - yy, 2 * xy) / (xx + yy);
    const found = pairs.map((pair) => pair.found);
    const [e1, e2] = [median(found.map((row) => row.e1)), median(found.map((row) => row.e2))];
    const turn = (Math.atan2(e2, e1) * 90) / Math.PI - angleDeg;
    expect(Math.abs(turn - 180 * Math.round(turn / 180))).toBeLessThan(1);
    // No closed profile is a trail; its distortion must still be that of a long star.
    expect(Math.hypot(e1, e2)).toBeGreaterThan(0.9 * e);
  });
});

describe('comets and clovers', () => {
  test('the third moments of a lopsided star point along its tail and have the size of its light', async () => {
    // Three spots in a row, ever fainter, along 30 degrees. Third central moments from the spots themselves: a round
    // spot has none of its own, and the pixel neither.
    const [c, s] = [Math.cos(Math.PI / 6), Math.sin(Math.PI / 6)];
    const spots = [0, 1.1, 2.4].map((at, i) => ({ dx: c * at, dy: s * at, weight: [0.7, 0.22, 0.08][i] }));
    const mx = spots.reduce((sum, { dx, weight }) => sum + dx * weight, 0);
    const my = spots.reduce((sum, { dy, weight }) => sum + dy * weight, 0);
    for (const spot of spots) {
      spot.dx -= mx;
      spot.dy -= my;
    }
    const brush = { spots, sigmaPx: 1.4 };
    const { pairs, missed, extra } = await field(brush, 40, 4e5);
    expect([missed, extra]).toEqual([[], []]);
    const along = spots.reduce((sum, { dx, dy, weight }) => sum + weight * (c * dx + s * dy) ** 3, 0);
    const { xx, yy } = brushMoments(brush);
    const truth = along / ((xx + yy) / 2) ** 1.5;
    const comet = (axis: 0 | 1) => median(pairs.map(({ found }) => found.comet[axis]));
    const clover = (axis: 0 | 1) => median(pairs.map(({ found }) => found.clover[axis]));
    const direction = (x: number, y: number) => (Math.atan2(y, x) * 180) / Math.PI;
    expect(Math.abs(direction(comet(0), comet(1)) - 30)).toBeLessThan(5);
    // <z³> of a row of spots along 30 degrees points to 3 x 30 degrees, with the comet's length.
    expect(Math.abs(direction(clover(0), clover(1)) - 90)).toBeLessThan(8);
    // A weighted moment of a star this little lopsided is the plain one within a third.
    expect(Math.hypot(comet(0), comet(1)) / truth).toBeGreaterThan(0.67);
    expect(Math.hypot(comet(0), comet(1)) / truth).toBeLessThan(1.5);
  });
});
