import { describe, expect, test } from 'vitest';
import { stampMoments } from '../../../workers/fit/stamp-moments.ts';
import { P, PARAMETER_COUNT } from '../../../workers/fit/parameters.ts';
import type { SceneChanges } from '../../../workers/simulate/scene.ts';
import { plainLook } from '../../../workers/verdict/plain/plain-look.ts';
import { isSupported, stretchedAlike } from '../../../workers/verdict/plain/support.ts';
import { drawnStamps, fieldScene } from '../../fit/field.ts';

/** Stars drawn by the simulator, which shares no code with what looks at them. */
function look(changes: SceneChanges) {
  const stamps = drawnStamps(fieldScene(changes));
  return plainLook(stamps, stampMoments(stamps))!;
}
const still = { path: 'none' as const, theta: new Array<number>(PARAMETER_COUNT).fill(0) };
const seen = ({ value, sigma }: { value: number; sigma: number }) => Math.abs(value) > 4 * sigma;

describe('how shapes run over the field', () => {
  test('round stars show no pattern that counts', () => {
    const clean = look({});
    expect(clean.stars).toBeGreaterThan(25);
    expect(stretchedAlike(clean)).toBe(false);
    for (const part of [clean.common, clean.radial, clean.slope, clean.bowl, clean.commonComet])
      expect(Math.abs(part.value)).toBeLessThan(Math.max(4 * part.sigma, 0.02));
  });

  test('a trail: all stars long alike, along the trail', () => {
    const along = (25 * Math.PI) / 180;
    const trail = look({
      motion: [{ kind: 'drift', vectorUm: { x: 19 * Math.cos(along), y: 19 * Math.sin(along) } }],
    });
    expect(stretchedAlike(trail)).toBe(true);
    expect(Math.abs(trail.commonAngleDeg - 25)).toBeLessThan(2);
    expect(trail.varying).toBeLessThan(0.03);
    expect(isSupported({ key: 'motion', cause: 'trailing', cornerVariancePx2: 1 }, still, 2.3, trail)).toBe(
      true,
    );
    expect(isSupported({ key: 'tilt', cause: 'tilt', cornerVariancePx2: 1 }, still, 2.3, trail)).toBe(false);
  });

  test('a leaning sensor: widths run up a slope, towards the side that is farther from focus', () => {
    const tilt = look({ optics: { focusUm: 25, tiltUmPerMm: { x: 20, y: 0 } } });
    expect(seen(tilt.slope)).toBe(true);
    expect(Math.abs(tilt.slopeAngleDeg)).toBeLessThan(10);
    expect(stretchedAlike(tilt)).toBe(false);
  });

  test('coma of a paraboloid: tails away from the middle, none in common', () => {
    const coma = look({ optics: { comaStrength: 6 } });
    expect(coma.radialComet.value).toBeGreaterThan(5 * coma.radialComet.sigma);
    expect(coma.commonComet.value).toBeLessThan(0.2 * coma.radialComet.value);
    expect(isSupported({ key: 'coma', cause: 'coma', cornerVariancePx2: 1 }, still, 2, coma)).toBe(true);
  });

  test('round stars deny a trail, but not a jump that sets two images of each star apart', () => {
    const round = look({});
    const jump = (lengthPx: number) => {
      const theta = [...still.theta];
      [theta[P.motionX], theta[P.lnBlur]] = [lengthPx, Math.log(2.5)];
      return { path: 'jump' as const, theta };
    };
    const trailing = { key: 'motion', cause: 'trailing', cornerVariancePx2: 1 } as const;
    expect(isSupported(trailing, still, 2.3, round)).toBe(false);
    expect(isSupported(trailing, jump(2), 2.3, round)).toBe(false);
    expect(isSupported(trailing, jump(6), 2.3, round)).toBe(true);
  });

  test('one set of stamps is measured once', () => {
    const stamps = drawnStamps(fieldScene(), 3, 2);
    expect(stampMoments(stamps)).toBe(stampMoments(stamps));
  });

  test('a few stars tell no pattern', () => {
    const stamps = drawnStamps(fieldScene(), 3, 2);
    expect(plainLook(stamps, stampMoments(stamps))).toBeNull();
  });
});
