import { describe, expect, it } from 'vitest';
import { makeScene, type Optics, type SceneRig } from '../../workers/simulate/scene.ts';
import { causeMoments, spotMoments } from '../../workers/simulate/truth.ts';
import { defocusUm, pathUm, rayUm, wavefrontAtField } from '../../workers/simulate/wavefront.ts';

const scene = (rig: Partial<SceneRig>, optics: Partial<Optics>) => makeScene({ rig, optics });

describe('pure coma, closed-form moments of an annulus', () => {
  // Spot of W = w rho^3 cos: moments from averages over the annulus, m = (1+e^2)/2, V = (1-e^2)^2/12;
  // the circle's are in the literature on Seidel coma (Schroeder, Astronomical Optics), the annulus is derived.
  it.each([
    [0, 1 / 2, 1 / 6],
    [0.2, 0.4808, 0.1736],
    [0.3, 0.45905, 0.183017],
    [0.35, 0.446253, 0.189584],
    [0.4, 0.4328, 0.1976],
  ])('obstruction %f', (obstruction, xx, yy) => {
    const Cs = 1000 / (16 * 16); // h / (16 F^2) in um at h = 1 mm, F/4
    const rig = { focalLengthMm: 400, focalRatio: 4, obstruction };
    const m = spotMoments(scene(rig, { comaStrength: 1 }), { x: 1, y: 0 });
    expect(m.xx / Cs ** 2).toBeCloseTo(xx, 5);
    expect(m.yy / Cs ** 2).toBeCloseTo(yy, 5);
    expect(m.xy).toBeCloseTo(0, 12);
  });

  it('has its bright tip towards the axis and its tail away from it, three sagittal widths long', () => {
    const w = wavefrontAtField(
      { ...makeScene().optics, comaStrength: 1 },
      { focalLengthMm: 400, focalRatio: 4 },
      {
        x: 1,
        y: 0,
      },
    );
    const tip = rayUm(w, 4, 0, 0);
    const far = rayUm(w, 4, 1, 0);
    // Tangential coma 3 h / (16 F^2) = 11.71875 um at h = 1 mm, F/4.
    expect(far.x - tip.x).toBeCloseTo(11.71875, 10);
    expect(rayUm(w, 4, 0, 1).x - tip.x).toBeCloseTo(11.71875 / 3, 10);
  });
});

describe('all aberrations together', () => {
  it('has the moments of the general closed form', () => {
    // Noll coefficients a4 ... a11 of .1 .03 -.05 .04 .06 .02 -.03 .02, obstruction 0.3, spot = grad W:
    // M = 0.7715800, Q = -0.2471202 + 0.3623944 i, by symbolic algebra and 4e6 random rays.
    const [a4, a5, a6, a7, a8, a9, a10, a11] = [0.1, 0.03, -0.05, 0.04, 0.06, 0.02, -0.03, 0.02];
    const F = 0.5; // so that 2F = 1
    const m = spotMoments(
      scene(
        { focalRatio: F, obstruction: 0.3 },
        {
          focusUm: 8 * F * F * 2 * Math.sqrt(3) * a4,
          astigmatismUm: { cos: Math.sqrt(6) * a6, sin: Math.sqrt(6) * a5 },
          comaConstantUm: { x: 3 * Math.sqrt(8) * a8, y: 3 * Math.sqrt(8) * a7 },
          trefoilUm: { cos: Math.sqrt(8) * a10, sin: Math.sqrt(8) * a9 },
          sphericalUm: Math.sqrt(5) * a11,
        },
      ),
      { x: 0, y: 0 },
    );
    expect(m.xx + m.yy).toBeCloseTo(0.77158, 6);
    expect(m.xx - m.yy).toBeCloseTo(-0.2471202, 6);
    expect(2 * m.xy).toBeCloseTo(0.3623944, 6);
  });

  it('lets rays land at 2F times the slope of the wavefront', () => {
    const w = {
      defocus: 0.3,
      comaU: -0.2,
      comaV: 0.5,
      astigmatism0: 0.7,
      astigmatism45: -0.4,
      trefoil0: 0.25,
      trefoil1: 0.6,
      spherical: -0.15,
    };
    const h = 1e-5;
    for (const [u, v] of [
      [0.3, -0.8],
      [-0.6, 0.1],
    ]) {
      const ray = rayUm(w, 3, u, v);
      expect(ray.x).toBeCloseTo((3 * (pathUm(w, u + h, v) - pathUm(w, u - h, v))) / h, 7);
      expect(ray.y).toBeCloseTo((3 * (pathUm(w, u, v + h) - pathUm(w, u, v - h))) / h, 7);
    }
  });
});

describe('bare paraboloid', () => {
  // Exact ray trace of a paraboloid, D = 100 mm, f = 400 mm, stop at the mirror (60 radii x 256 azimuths). Third order
  // falls short by about 1 % in second moments at F/4 (fifth-order coma).
  // In the Gaussian plane the sensor lies h^2 / 2f behind the medial surface: a radius of -f in our convention.
  it.each([
    [0, 1, 'gauss', 7.7243, 2.5731],
    [0, 1, 'medial', 7.7057, 2.5792],
    [0, 4, 'gauss', 129.5879, 41.17],
    [0, 4, 'medial', 124.818, 42.7283],
    [0.3, 2, 'medial', 28.4052, 11.4084],
    [0.3, 4, 'gauss', 120.1483, 45.2091],
    [0.3, 4, 'medial', 114.9518, 46.9077],
  ])('obstruction %f, h = %f mm, %s plane', (obstruction, h, plane, xx, yy) => {
    const optics = {
      comaStrength: 1,
      astigmatismStrength: 1,
      curvatureRadiusMm: plane === 'gauss' ? -400 : 0,
    };
    const m = spotMoments(scene({ focalLengthMm: 400, focalRatio: 4, obstruction }, optics), { x: h, y: 0 });
    for (const ratio of [xx / m.xx, yy / m.yy]) {
      expect(ratio).toBeGreaterThan(1.007);
      expect(ratio).toBeLessThan(1.013);
    }
  });

  it('turns with the field: the moments at 30 degrees are those on the x axis, turned', () => {
    const paraboloid = scene(
      { focalLengthMm: 400, focalRatio: 4, obstruction: 0.3 },
      { comaStrength: 1, astigmatismStrength: 1, focusUm: 25 },
    );
    const a = spotMoments(paraboloid, { x: 3, y: 0 });
    const b = spotMoments(paraboloid, { x: 3 * Math.cos(Math.PI / 6), y: 3 * Math.sin(Math.PI / 6) });
    expect(b.xx + b.yy).toBeCloseTo(a.xx + a.yy, 9);
    expect(b.xx - b.yy).toBeCloseTo((a.xx - a.yy) * 0.5, 9);
    expect(2 * b.xy).toBeCloseTo((a.xx - a.yy) * Math.sqrt(0.75), 9);
  });
});

describe('focus', () => {
  it('adds tilt and takes off the curvature about the axis', () => {
    const optics = {
      ...makeScene().optics,
      focusUm: 10,
      tiltUmPerMm: { x: 2, y: -3 },
      curvatureRadiusMm: 500,
      axisMm: { x: 1, y: 0 },
    };
    expect(defocusUm(optics, { x: 4, y: 2 })).toBeCloseTo(10 + 8 - 6 - (1000 * (9 + 4)) / 1000, 12);
  });

  it('spreads a disc of dz / F with per-axis variance d^2 (1 + e^2) / 16', () => {
    const rig = { focalRatio: 4, obstruction: 0.3 };
    const m = spotMoments(scene(rig, { focusUm: 50 }), { x: 0, y: 0 });
    expect(m.xx).toBeCloseTo((12.5 ** 2 * 1.09) / 16, 9);
    expect(m.yy).toBeCloseTo(m.xx, 9);
  });

  it('lists each cause apart: a tilt acts on either side of the centre, not in it', () => {
    const tilted = scene({ focalRatio: 4 }, { tiltUmPerMm: { x: 5, y: 0 } });
    expect(causeMoments(tilted, { x: 0, y: 3 }).tilt.xx).toBe(0);
    expect(causeMoments(tilted, { x: 3, y: 0 }).tilt.xx).toBeCloseTo(
      causeMoments(tilted, { x: -3, y: 0 }).tilt.xx,
    );
    expect(causeMoments(tilted, { x: 3, y: 0 }).optics.xx).toBeCloseTo(15 ** 2 / 16 ** 2, 9);
  });
});
