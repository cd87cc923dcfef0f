import { describe, expect, test } from 'vitest';
import type { Estimate } from '../../workers/protocol/report.ts';
import { fitField } from '../../workers/fit/fit-field.ts';
import { InlineStarPool } from '../../workers/fit/star-pool.ts';
import { UNKNOWN_RIG } from '../../workers/protocol/rig.ts';
import { truthOf } from '../../workers/simulate/truth.ts';
import { analysed, drawnStamps, fieldScene, flippedX } from './field.ts';

/** Truth everywhere here: the scene that the simulator drew (own wavefront, own transforms, no code in common). */
const near = (estimate: Estimate | null, truth: number, least: number, what: string) => {
  expect(estimate, what).not.toBeNull();
  // Four standard errors, and a floor for one wavelength and a finite pupil grid.
  expect(Math.abs(estimate!.value - truth), what).toBeLessThan(4 * estimate!.sigma + least);
};

describe('the fit finds what was drawn', () => {
  test('tilt, with its direction, and the budget of the corners', async () => {
    const scene = fieldScene({ optics: { tiltUmPerMm: { x: 55, y: 25 }, focusUm: 12 } });
    const { model, verdict, budget } = await analysed(drawnStamps(scene), scene);
    expect(verdict.cause).toBe('tilt');
    near(model.tiltUmPerMm.x, 55, 0.3, 'x');
    near(model.tiltUmPerMm.y, 25, 0.3, 'y');
    near(model.focusUm, 12, 1, 'focus');
    const corner = budget.find(({ where }) => where === 'c1r1')!.variancePx2;
    const { tilt, focusAndShape } = truthOf(scene).momentsUm2.c1r1;
    const px2 = scene.rig.pixelSizeUm ** 2;
    expect(corner.tilt / ((tilt.xx + tilt.yy) / 2 / px2)).toBeCloseTo(1, 1);
    const all = corner.focus + corner.tilt + corner.curvature + corner.cross;
    expect(all / ((focusAndShape.xx + focusAndShape.yy) / 2 / px2)).toBeCloseTo(1, 1);
  });

  test('a bare paraboloid’s coma: strength 1, centre where the axis is', async () => {
    const scene = fieldScene({
      rig: { focalLengthMm: 400, focalRatio: 4, widthPx: 1200, heightPx: 800 },
      optics: { comaStrength: 1, astigmatismStrength: 1, axisMm: { x: 0.3, y: -0.2 } },
      sky: { seeingArcsec: 3 },
    });
    const { model, verdict } = await analysed(drawnStamps(scene), scene);
    expect(['coma', 'collimation']).toContain(verdict.cause);
    near(model.coma.strength, 1, 0.02, 'strength');
    near(model.coma.centreMm!.x, 0.3, 0.02, 'centre x');
    near(model.coma.centreMm!.y, -0.2, 0.02, 'centre y');
  });

  test('a trail: length, axis, and no optics in its place', async () => {
    const scene = fieldScene({ motion: [{ kind: 'drift', vectorUm: { x: 14, y: -9 } }] });
    const { model, verdict } = await analysed(drawnStamps(scene), scene);
    expect(verdict).toMatchObject({ cause: 'trailing', family: 'tracking' });
    near(model.motion.lengthPx, Math.hypot(14, 9) / 3.8, 0.03, 'length');
    near(model.motion.angleDeg, (Math.atan2(-9, 14) * 180) / Math.PI, 0.5, 'angle');
  });

  test('constant astigmatism is not taken for a trail, nor the other way about', async () => {
    const scene = fieldScene({ optics: { astigmatismUm: { cos: 0.25, sin: 0.15 }, focusUm: 20 } });
    const { model, verdict } = await analysed(drawnStamps(scene), scene);
    expect(verdict.cause).toBe('astigmatism');
    expect(model.motion.path).toBe('none');
    near(model.astigmatismUm.cos, 0.25, 0.01, 'cos');
    near(model.astigmatismUm.sin, 0.15, 0.01, 'sin');
  });

  test('a jump with its shorter part', async () => {
    const scene = fieldScene({ motion: [{ kind: 'jump', vectorUm: { x: 4, y: 15 }, atFraction: 0.7 }] });
    const { model, verdict } = await analysed(drawnStamps(scene), scene);
    expect(verdict.cause).toBe('trailing');
    expect(model.motion.path).toBe('jump');
    near(model.motion.lengthPx, Math.hypot(4, 15) / 3.8, 0.03, 'length');
    expect(model.motion.minorityFraction!).toBeCloseTo(0.3, 1);
  });

  test('round stars: no cause, and no verdict of one', async () => {
    const scene = fieldScene({ sky: { seeingArcsec: 2.4 } });
    const { model, verdict, causes } = await analysed(drawnStamps(scene), scene);
    expect(verdict).toMatchObject({ cause: 'clean', family: 'none' });
    expect(model.motion.path).toBe('none');
    // What the frame does not need is worth nothing in the corners.
    for (const { cornerFwhmWithoutPx } of causes) expect(cornerFwhmWithoutPx).toBeGreaterThan(0);
    near(model.roundBlurFwhmPx, 2.4 / 1.306, 0.03, 'round blur');
  });
});

test('a frame seen in the mirror has the mirrored tilt and the same budget', async () => {
  const scene = fieldScene({ optics: { tiltUmPerMm: { x: 25, y: -18 }, focusUm: 15 } });
  const stamps = drawnStamps(scene);
  const plain = await analysed(stamps, scene);
  const mirrored = await analysed(flippedX(stamps), scene);
  expect(mirrored.model.tiltUmPerMm.x!.value).toBeCloseTo(-plain.model.tiltUmPerMm.x!.value, 0);
  expect(mirrored.model.tiltUmPerMm.y!.value).toBeCloseTo(plain.model.tiltUmPerMm.y!.value, 0);
  const total = (one: typeof plain) => one.budget.find(({ where }) => where === 'corners')!.variancePx2.total;
  expect(total(mirrored) / total(plain)).toBeCloseTo(1, 2);
});

test('the parts of a budget add to its total, and the cross terms of the corners cancel but for focus and curvature', async () => {
  const scene = fieldScene({
    optics: { tiltUmPerMm: { x: 15, y: 10 }, focusUm: 20, comaConstantUm: { x: 0.1, y: 0 } },
  });
  const { budget, model } = await analysed(drawnStamps(scene), scene);
  for (const { variancePx2 } of budget) {
    const { total, ...parts } = variancePx2;
    expect(Object.values(parts).reduce((sum, part) => sum + part, 0)).toBeCloseTo(total, 9);
  }
  const corners = budget.find(({ where }) => where === 'corners')!.variancePx2;
  if (model.curvaturePerM!.value === 0) expect(corners.cross).toBeCloseTo(0, 9);
});

test('too few stars: a reason and what to do', async () => {
  const scene = fieldScene();
  const outcome = await fitField(
    drawnStamps(scene, 3, 2),
    { focalLengthMm: 600, apertureMm: 120, pixelSizeUm: 3.8, obstruction: 0.3 },
    UNKNOWN_RIG,
    (set, optics) => InlineStarPool.create(set, optics),
  );
  expect(outcome).toMatchObject({ ok: false, fault: { code: 'too-few-stars' } });
});

test('unknown optics: everything in pixels, and it says what was assumed', async () => {
  const scene = fieldScene({ motion: [{ kind: 'drift', vectorUm: { x: 14, y: -9 } }] });
  const outcome = await fitField(
    drawnStamps(scene),
    { focalLengthMm: null, apertureMm: null, pixelSizeUm: null, obstruction: null },
    UNKNOWN_RIG,
    (set, optics) => InlineStarPool.create(set, optics),
  );
  expect(outcome.ok).toBe(true);
  if (!outcome.ok) return;
  expect(outcome.value.warnings.join(' ')).toContain('assumed');
  const { fieldModel } = await import('../../workers/fit/model-report.ts');
  const model = fieldModel(outcome.value);
  expect(model.focusUm).toBeNull();
  expect(model.tiltUmPerMm).toEqual({ x: null, y: null });
  expect(Math.abs(model.motion.lengthPx!.value - Math.hypot(14, 9) / 3.8)).toBeLessThan(0.1);
});

test('stopping: the fit rejects with an AbortError', async () => {
  const scene = fieldScene();
  const controller = new AbortController();
  const fit = fitField(
    drawnStamps(scene),
    { focalLengthMm: 600, apertureMm: 120, pixelSizeUm: 3.8, obstruction: 0.3 },
    UNKNOWN_RIG,
    (set, optics) => InlineStarPool.create(set, optics),
    () => controller.abort(),
    controller.signal,
  );
  await expect(fit).rejects.toMatchObject({ name: 'AbortError' });
});

test('an obstruction that nothing gives is read from defocused stars', async () => {
  for (const obstruction of [0, 0.4]) {
    const scene = fieldScene({ rig: { obstruction }, optics: { focusUm: 160 } });
    const outcome = await fitField(
      drawnStamps(scene, 6, 4, 21),
      { focalLengthMm: 600, apertureMm: 120, pixelSizeUm: 3.8, obstruction: null },
      UNKNOWN_RIG,
      (set, optics) => InlineStarPool.create(set, optics),
    );
    expect(outcome.ok).toBe(true);
    if (!outcome.ok) return;
    expect(outcome.value.known.obstruction).toBe('fitted');
    // The image knows the area of the hole, a few hundredths of the pupil's.
    expect(Math.abs(outcome.value.optics.obstruction ** 2 - obstruction ** 2)).toBeLessThan(0.02);
    // Positive by convention; 160 um were drawn.
    expect(Math.abs(outcome.value.theta[0] * 2 * 5 * 3.8 - 160)).toBeLessThan(3);
  }
});
