import { beforeAll, describe, expect, it } from 'vitest';
import type { Measured } from '../../workers/protocol/api.ts';
import { NOT_FOR_SHAPE } from '../../workers/protocol/flags.ts';
import { arcsecToUm } from '../../workers/rig/image-scale.ts';
import {
  halfPeakWidthPx,
  matchedElongation,
  plannedStar,
  rayStar,
  spotRays,
  type PlannedOptics,
} from '../../workers/rig/planned-star.ts';
import { waveStar } from '../../workers/rig/wave-star.ts';
import { simulateExposure } from '../../workers/simulate/exposure.ts';
import { makeScene } from '../../workers/simulate/scene.ts';
import { measureFrame } from '../support/star-frames.ts';

const optics = (told: Partial<PlannedOptics>): PlannedOptics => ({
  focalLengthMm: 400,
  focalRatio: 4,
  obstruction: 0,
  seeingFwhmUm: 6,
  pixelSizeUm: 3,
  ...told,
});

describe('rays of a bare mirror', () => {
  it.each([
    // Exact rays through a paraboloid D = 100 mm, f = 400 mm on the plane of the axial focus, variances in µm² along
    // and across (ray traced apart, with quadrature over the pupil). Third order lacks about 1 % of them.
    [0, 1, 7.7243, 2.5731],
    [0, 2, 31.1973, 10.2925],
    [0, 4, 129.5879, 41.17],
    [0.3, 4, 120.1483, 45.2091],
  ])('ε = %f, %d mm off axis', (obstruction, height, along, across) => {
    const rays = spotRays(optics({ obstruction }), 0, height);
    const variance = (offset: number) => {
      const values = Array.from({ length: rays.length / 2 }, (_, i) => rays[2 * i + offset]);
      const mean = values.reduce((a, b) => a + b, 0) / values.length;
      return values.reduce((a, b) => a + (b - mean) ** 2, 0) / values.length;
    };
    expect(variance(1) / along).toBeGreaterThan(0.98);
    expect(variance(1) / along).toBeLessThan(1);
    expect(variance(0) / across).toBeGreaterThan(0.98);
    expect(variance(0) / across).toBeLessThan(1);
  });
});

describe('a planned star', () => {
  it.each([
    // Exact convolution by FFT apart (NumPy): 3″ of Kolmogorov air at f = 400 mm through an f/4 annulus of 0.3, over the
    // same wavelengths, is 6.696 µm wide before the pixel; adding the widths in quadrature would give 6.205 µm.
    ['wave optics', plannedStar],
    ['rays', rayStar],
  ] as const)('on the axis is as wide as air and aperture make it: %s', (name, draw) => {
    const values = draw(optics({ seeingFwhmUm: 5.817764, obstruction: 0.3, pixelSizeUm: 0.5 }), 0, 0, 121, 3);
    const widthUm = 0.5 * halfPeakWidthPx(values, 3);
    expect(Math.abs(widthUm / 6.696 - 1)).toBeLessThan(name === 'rays' ? 0.08 : 0.015);
    expect(matchedElongation(values)).toBeCloseTo(1, 4);
  });
  it('by waves and by rays is equally long where coma is strong', () => {
    // Geometric optics is the limit of short waves (textbook): five waves of coma at the edge, where rays take over.
    const strong = optics({ seeingFwhmUm: 5, pixelSizeUm: 2 });
    const elongation = (draw: typeof rayStar) => matchedElongation(draw(strong, 5.6, 0, 121, 3));
    expect(Math.abs(elongation(waveStar) / elongation(rayStar) - 1)).toBeLessThan(0.02);
    expect(elongation(waveStar)).toBeGreaterThan(1.3);
  });
  it('tells the axes of a Gaussian', () => {
    // Matched weights are exact on a Gaussian (Bernstein & Jarvis 2002): axes 6 and 4 samples, turned by 30°.
    const side = 61;
    const [c, s] = [Math.cos(Math.PI / 6), Math.sin(Math.PI / 6)];
    const values = Array.from({ length: side * side }, (_, i) => {
      const [x, y] = [(i % side) - 30, Math.floor(i / side) - 30];
      return Math.exp(-((c * x + s * y) ** 2) / 72 - (c * y - s * x) ** 2 / 32);
    });
    expect(matchedElongation(values)).toBeCloseTo(1.5, 3);
  });
  it('points its tail away from the axis', () => {
    const side = 81;
    const values = plannedStar(optics({ seeingFwhmUm: 4.7 }), 5, 0, side, 3);
    const brightest = values.indexOf(1);
    // The tip of the comet is the bright end (textbook): it lies towards the axis, left of the centre of light.
    expect(brightest % side).toBeLessThan((side - 1) / 2 - 2);
    expect(Math.abs(Math.floor(brightest / side) - (side - 1) / 2)).toBeLessThanOrEqual(1);
  });
});

/**
 * The rig is planned and simulated by code that shares nothing: one wavelength through transfer functions here,
 * five wavelengths, lattices of pupils and a noisy detector there. What the pipeline measures on the simulated frame is held against the plan.
 */
describe('planned against simulated and measured', () => {
  const rig = {
    focalLengthMm: 400,
    focalRatio: 4,
    obstruction: 0.3,
    pixelSizeUm: 2.9,
    widthPx: 1600,
    heightPx: 1000,
  };
  const seeing = 3;
  let measured: Measured;
  let planned: PlannedOptics;
  beforeAll(async () => {
    const scene = makeScene({
      rig,
      optics: { comaStrength: 1, astigmatismStrength: 1, curvatureRadiusMm: 400 },
      sky: { seeingArcsec: seeing },
      stars: { count: 170, faintestElectrons: 30_000, brightestElectrons: 300_000, slope: 0.5 },
      seed: 77,
    });
    measured = await measureFrame({ pixels: simulateExposure(scene).pixels, ...rig });
    planned = { ...rig, seeingFwhmUm: arcsecToUm(seeing, 400) };
  }, 120_000);

  /** Mean over stars at least `fromMm` and less than `toMm` from the axis: what was measured, and what was planned. */
  function compare(
    fromMm: number,
    toMm: number,
    found: (i: number, angleRad: number) => number,
    plan: (values: Float32Array) => number,
  ): { found: number; planned: number; used: number } {
    const { stars } = measured;
    const sum = { found: 0, planned: 0, used: 0 };
    for (let i = 0; i < stars.count; i++) {
      if (stars.flags[i] & NOT_FOR_SHAPE || !Number.isFinite(stars.fwhmPx[i])) continue;
      const x = ((stars.xPx[i] - (rig.widthPx - 1) / 2) * rig.pixelSizeUm) / 1000;
      const y = ((stars.yPx[i] - (rig.heightPx - 1) / 2) * rig.pixelSizeUm) / 1000;
      const height = Math.hypot(x, y);
      if (height < fromMm || height >= toMm) continue;
      sum.found += found(i, Math.atan2(y, x));
      sum.planned += plan(plannedStar(planned, x, y, 91, 5));
      sum.used++;
    }
    return { found: sum.found / sum.used, planned: sum.planned / sum.used, used: sum.used };
  }

  it.each([
    [0, 0.8],
    [0.8, 1.6],
    [1.6, 2.6],
  ])('agrees in width from %f to %f mm off axis', (fromMm, toMm) => {
    const width = compare(
      fromMm,
      toMm,
      (i) => measured.stars.fwhmPx[i],
      (v) => halfPeakWidthPx(v, 5),
    );
    expect(width.used).toBeGreaterThan(10);
    // One wavelength for five, sampling of the half-peak contour, errors of the means: 4 %.
    expect(Math.abs(width.found / width.planned - 1)).toBeLessThan(0.04);
  });

  it('agrees in elongation near the edge', () => {
    const radial = compare(
      1.6,
      2.6,
      (i, angle) => measured.stars.e1[i] * Math.cos(2 * angle) + measured.stars.e2[i] * Math.sin(2 * angle),
      (values) => {
        const squared = matchedElongation(values) ** 2;
        return (squared - 1) / (squared + 1);
      },
    );
    // The pipeline fits Moffat profiles, the plan matches a Gaussian, which gives wings less weight: 15 %.
    expect(Math.abs(radial.found / radial.planned - 1)).toBeLessThan(0.15);
    expect(radial.planned).toBeGreaterThan(0.1);
  });
});
