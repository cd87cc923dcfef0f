import { describe, expect, it } from 'vitest';
import { pathMoments, starPath } from '../../workers/simulate/motion.ts';
import { renderStar } from '../../workers/simulate/render.ts';
import { makeScene, type Movement } from '../../workers/simulate/scene.ts';

const CENTRE = { x: 0, y: 0 };
const moments = (movement: Movement, at = CENTRE) => pathMoments(starPath([movement], at));

/** Second moments that the movement adds to a rendered star, in um^2 (differences of Gaussian-free wings cancel). */
function renderedMoments(movement: Movement) {
  const of = (motion: Movement[]) => {
    // Strong Gaussian shake instead of air: its wings end, so that plain moments exist.
    const scene = makeScene({
      motion,
      sky: { seeingArcsec: 0, jitterArcsec: 1.5 },
      rig: { focalLengthMm: 600, focalRatio: 3, pixelSizeUm: 3 },
    });
    const { values, sidePx } = renderStar(scene, 600, 400, 81);
    let [s, sx, sy, sxx, syy, sxy] = [0, 0, 0, 0, 0, 0];
    values.forEach((v, i) => {
      const x = (i % sidePx) - 40;
      const y = Math.floor(i / sidePx) - 40;
      s += v;
      sx += v * x;
      sy += v * y;
      sxx += v * x * x;
      syy += v * y * y;
      sxy += v * x * y;
    });
    return {
      xx: 9 * (sxx / s - (sx / s) ** 2),
      yy: 9 * (syy / s - (sy / s) ** 2),
      xy: 9 * (sxy / s - (sx * sy) / s ** 2),
    };
  };
  const still = of([]);
  const moved = of([movement]);
  return { xx: moved.xx - still.xx, yy: moved.yy - still.yy, xy: moved.xy - still.xy };
}

describe('image motion', () => {
  const cases: [string, Movement, { xx: number; yy: number; xy: number }][] = [
    [
      'an even trail of length L adds L^2 / 12 along itself',
      { kind: 'drift', vectorUm: { x: 24, y: 12 } },
      { xx: 48, yy: 12, xy: 24 },
    ],
    [
      'a jump L after the part q adds q (1 - q) L^2',
      { kind: 'jump', vectorUm: { x: 20, y: 0 }, atFraction: 0.3 },
      { xx: 84, yy: 0, xy: 0 },
    ],
    [
      'a whole swing of amplitude A adds A^2 / 2',
      { kind: 'periodic', amplitudeUm: { x: 0, y: 10 }, cycles: 1, phaseRad: 0.4 },
      { xx: 0, yy: 50, xy: 0 },
    ],
    [
      'a path out and back adds as one way does',
      {
        kind: 'path',
        nodesUm: [
          { x: 0, y: 0 },
          { x: 18, y: 0 },
          { x: 0, y: 0 },
        ],
      },
      { xx: 27, yy: 0, xy: 0 },
    ],
  ];
  it.each(cases)('%s', (_, movement, expected) => {
    const geometric = moments(movement);
    const rendered = renderedMoments(movement);
    for (const key of ['xx', 'yy', 'xy'] as const) {
      expect(geometric[key]).toBeCloseTo(expected[key], movement.kind === 'periodic' ? 0 : 9);
      // The 81-px stamp cuts diffraction wings: a few parts in a hundred.
      expect(Math.abs(rendered[key] - expected[key])).toBeLessThan(0.03 * (expected.xx + expected.yy));
    }
  });

  it('turns the field about its centre: a trail of distance x angle, across the radius', () => {
    // 78.755 arcsec of rotation at 10 mm from the centre: 3.818 um (small-angle geometry).
    const rotation: Movement = { kind: 'rotation', angleDeg: 78.755 / 3600, centreMm: { x: 2, y: 1 } };
    const m = moments(rotation, { x: 12, y: 1 });
    expect(Math.sqrt(12 * m.yy)).toBeCloseTo(3.818, 3);
    expect(m.xx).toBeLessThan(1e-6);
    expect(moments(rotation, { x: 2, y: 1 }).yy).toBe(0);
  });

  it('turns from +x towards +y', () => {
    const rotation: Movement = { kind: 'rotation', angleDeg: 1, centreMm: CENTRE };
    const path = starPath([rotation], { x: 1, y: 0 });
    expect(path.at(-1)!.to.y).toBeGreaterThan(path[0].from.y);
  });

  it('adds movements, whatever their breaks in time, about a mean of zero', () => {
    const path = starPath(
      [
        { kind: 'drift', vectorUm: { x: 6, y: 0 } },
        { kind: 'jump', vectorUm: { x: 0, y: 8 }, atFraction: 0.25 },
      ],
      CENTRE,
    );
    expect(path).toEqual([
      { from: { x: -3, y: -6 }, to: { x: -1.5, y: -6 }, weight: 0.25 },
      { from: { x: -1.5, y: 2 }, to: { x: 3, y: 2 }, weight: 0.75 },
    ]);
  });
});
