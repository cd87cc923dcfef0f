import { describe, expect, test } from 'vitest';
import { adjust, tiltOfPoints, type Adjuster } from '../../workers/rig/adjuster.ts';

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
});
