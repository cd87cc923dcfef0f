import { describe, expect, test } from 'vitest';
import {
  adjust,
  adjusterOf,
  clockHour,
  moveSigmas,
  tiltOfPoints,
  type Adjuster,
} from '../../workers/rig/adjuster.ts';
import { createRandom } from '../../workers/simulate/random.ts';

describe('a plate with screws', () => {
  const three: Adjuster = { points: 3, radiusMm: 30, firstDeg: 0, pitchMm: 0.5 };

  test('three points at 30 mm, 0.1 degree towards the first: 52.360, -26.180, -26.180 µm (handbook, section 12)', () => {
    const slope = 1000 * Math.tan((0.1 * Math.PI) / 180);
    const { points } = adjust({ x: slope, y: 0 }, three);
    // The sensor lies too far out at the first screw: it goes in, the others come out.
    expect(points.map(({ moveUm }) => -moveUm)).toEqual([
      expect.closeTo(52.36, 3),
      expect.closeTo(-26.18, 3),
      expect.closeTo(-26.18, 3),
    ]);
    expect(points[0].turns).toBeCloseTo(-52.36 / 500, 5);
  });

  test.each([3, 4] as const)('%i points: what is asked for undoes the tilt and keeps the focus', (count) => {
    const adjuster: Adjuster = { points: count, radiusMm: 24, firstDeg: 17, pitchMm: 0.7 };
    const tilt = { x: 11, y: -6 };
    const { points } = adjust(tilt, adjuster);
    const heights = points.map(({ moveUm }) => moveUm);
    expect(heights.reduce((sum, each) => sum + each, 0)).toBeCloseTo(0, 9);
    const made = tiltOfPoints(heights, adjuster);
    expect(made.x).toBeCloseTo(-tilt.x, 9);
    expect(made.y).toBeCloseTo(-tilt.y, 9);
  });

  test('shims are never negative, one of them is none, and the sensor moves out by the mean', () => {
    const { points, refocusUm } = adjust({ x: 3, y: 8 }, { ...three, pitchMm: null });
    const shims = points.map(({ shimUm }) => shimUm);
    expect(Math.min(...shims)).toBe(0);
    expect(shims.reduce((sum, each) => sum + each, 0) / 3).toBeCloseTo(refocusUm, 9);
    expect(points[0].turns).toBeNull();
  });

  test('the errors of the points are the scatter of many measured tilts', () => {
    const random = createRandom(5);
    const tilt = { x: { value: 9, sigma: 0.7 }, y: { value: -4, sigma: 0.3 } };
    for (const pitchMm of [0.5, null]) {
      const adjuster: Adjuster = { points: 4, radiusMm: 20, firstDeg: 30, pitchMm };
      const once = adjust({ x: 9, y: -4 }, adjuster).points;
      const sigmas = moveSigmas(tilt, adjuster, once);
      const draws = Array.from({ length: 4000 }, () =>
        adjust({ x: 9 + 0.7 * random.normal(), y: -4 + 0.3 * random.normal() }, adjuster).points.map(
          (point) => (pitchMm === null ? point.shimUm : point.moveUm),
        ),
      );
      sigmas.forEach((sigma, k) => {
        const values = draws.map((each) => each[k]);
        const mean = values.reduce((sum, value) => sum + value, 0) / values.length;
        const scatter = Math.sqrt(
          values.reduce((sum, value) => sum + (value - mean) ** 2, 0) / values.length,
        );
        // The scatter of 4000 draws is known to 1.1 %: four of these.
        expect(Math.abs(scatter - sigma)).toBeLessThanOrEqual(0.045 * sigma + 1e-9);
      });
    }
  });

  test('a sheet tells of it by the clock: 12 is up, 3 is right, and y runs down', () => {
    const sheet = {
      adjuster: 'three',
      adjusterRadiusMm: 25,
      adjusterPitchMm: 0.5,
      adjusterFirstHour: 12,
    } as const;
    expect(adjusterOf(sheet)).toEqual({ points: 3, radiusMm: 25, pitchMm: 0.5, firstDeg: -90 });
    expect(adjusterOf({ ...sheet, adjusterFirstHour: 3 })!.firstDeg).toBe(0);
    expect(adjusterOf({ ...sheet, adjuster: 'none' })).toBeNull();
    expect(adjusterOf({ ...sheet, adjusterRadiusMm: null })).toBeNull();
    // Three points are four hours apart.
    expect(adjust({ x: 1, y: 0 }, adjusterOf(sheet)!).points.map(({ atDeg }) => clockHour(atDeg))).toEqual([
      12,
      expect.closeTo(4, 9),
      expect.closeTo(8, 9),
    ]);
  });
});
