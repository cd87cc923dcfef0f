import { describe, expect, test } from 'vitest';
import { LOCALS } from '../../workers/fit/parameters.ts';
import type { Local } from '../../workers/fit/parameters.ts';
import { annulusMeans, diffractionFwhm } from '../../workers/fit/optics.ts';
import { annulus } from '../../workers/fit/pupil.ts';
import { spotMoments } from '../../workers/fit/spot-moments.ts';
import { TERMS, spotVariance, wavesPerPixel } from '../../workers/fit/wavefront.ts';
import type { Term } from '../../workers/fit/wavefront.ts';

/** Ray spot of a wavefront by brute force: 2F grad W over rings of the annulus, moments of the rays. */
function rays(coefficients: Partial<Record<Term, number>>, obstruction: number) {
  const optics = { focalRatio: 4, pixelUm: 1, obstruction, wavelengthUm: 0.5 };
  const w = (u: number, v: number) =>
    TERMS.reduce((sum, term) => sum + (coefficients[term] ?? 0) * wavesPerPixel(term, u, v, optics), 0);
  const points: [number, number][] = [];
  const h = 1e-4;
  for (let i = 0; i < 60; i++)
    for (let k = 0; k < 72; k++) {
      // Equal areas: t = rho^2 is uniform on [eps^2, 1].
      const rho = Math.sqrt(obstruction ** 2 + (1 - obstruction ** 2) * ((i + 0.5) / 60));
      const angle = (2 * Math.PI * k) / 72;
      const [u, v] = [rho * Math.cos(angle), rho * Math.sin(angle)];
      // Waves to pixels of spot: 2 F lambda / pixel.
      const scale = 2 * 4 * 0.5;
      points.push([
        (scale * (w(u + h, v) - w(u - h, v))) / (2 * h),
        (scale * (w(u, v + h) - w(u, v - h))) / (2 * h),
      ]);
    }
  const mean = [0, 1].map((axis) => points.reduce((sum, point) => sum + point[axis], 0) / points.length);
  const out = new Float64Array(7);
  for (const point of points) {
    const [x, y] = [point[0] - mean[0], point[1] - mean[1]];
    const r2 = x * x + y * y;
    [r2, x * x - y * y, 2 * x * y, r2 * x, r2 * y, x ** 3 - 3 * x * y * y, 3 * x * x * y - y ** 3].forEach(
      (value, m) => (out[m] += value / points.length),
    );
  }
  return out;
}

const localsOf = (values: Partial<Record<Local, number>>) =>
  Float64Array.from(LOCALS, (name) => (name === 'lnBlur' ? -40 : (values[name] ?? 0)));

describe('geometric spots', () => {
  test('pure coma has the moments of the handbook: section 1.2, table over the obstruction', () => {
    // Cs = comaX / 3 in pixels: 2 F C (3 rho^2 - 2/3) at the edge. Values in units of Cs: mu_xx, mu_yy, mu_xxx, mu_xyy.
    const table: [number, number, number, number, number][] = [
      [0, 1 / 2, 1 / 6, 1 / 4, 1 / 12],
      [0.3, 0.45905, 0.183017, 0.225657, 0.075219],
      [0.4, 0.4328, 0.1976, 0.204624, 0.068208],
    ];
    for (const [obstruction, xx, yy, xxx, xyy] of table) {
      const out = new Float64Array(7);
      // C = c / 3 in the closed form's normalisation and Cs = 3 C: one pixel of comaX is one Cs.
      spotMoments(localsOf({ comaX: 1 }), obstruction, 0, out);
      expect((out[0] - 1 / 6 + out[1]) / 2).toBeCloseTo(xx, 5);
      expect((out[0] - 1 / 6 - out[1]) / 2).toBeCloseTo(yy, 5);
      expect((3 * out[3] + out[5]) / 4).toBeCloseTo(xxx, 5);
      expect((out[3] - out[5]) / 4).toBeCloseTo(xyy, 5);
    }
  });

  test('closed-form moments of all terms together equal rays traced through the wavefront', () => {
    const values = {
      defocus: 0.9,
      comaX: 0.7,
      comaY: -1.1,
      astigmatism0: 0.8,
      astigmatism45: -0.6,
      trefoil0: 0.5,
      trefoil1: 0.9,
    };
    for (const obstruction of [0, 0.33]) {
      const out = new Float64Array(7);
      spotMoments(localsOf(values), obstruction, 0, out);
      out[0] -= 1 / 6; // the pixel
      const traced = rays(values, obstruction);
      // 60 rings of equal area: the mean of rho^6 is off by 1 / (12 * 60^2) of its curvature, some 1e-4.
      out.forEach((value, m) =>
        expect(Math.abs(value - traced[m])).toBeLessThan(2e-3 * (1 + Math.abs(value))),
      );
    }
  });

  test('per-axis variance of each term equals that of its rays', () => {
    for (const term of TERMS)
      for (const obstruction of [0, 0.35])
        expect(rays({ [term]: 1 }, obstruction)[0] / 2).toBeCloseTo(spotVariance(term, obstruction), 3);
  });

  test('a defocus of 50 um at f/4 spreads 3.125 um per axis (handbook section 4)', () => {
    // Edge radius dz / 2F = 6.25 um; in pixels of 1 um.
    expect(Math.sqrt(spotVariance('defocus', 0)) * (50 / 8)).toBeCloseTo(3.125, 6);
  });

  test('a bare f/4 paraboloid at h = 4 mm: traced second moments (handbook section 1.3, medial plane)', () => {
    // Exact rays: mu_xx + mu_yy = 124.818 + 42.7283 um^2 with astigmatism h^2 / (16 F^2 f) and Cs = h / (16 F^2).
    const out = new Float64Array(7);
    const cs = 4000 / 256;
    const astigmatismUm = 16e6 / (16 * 16 * 400e3);
    spotMoments(localsOf({ comaX: cs, astigmatism0: 4 * 4 * astigmatismUm, defocus: 0 }), 0, 0, out);
    // Third order is 0.95 % below the exact trace at f/4 (handbook section 1.1, validity).
    expect((out[0] - 1 / 6) / (124.818 + 42.7283)).toBeCloseTo(1 / 1.0095, 2);
  });
});

describe('pupil', () => {
  test('area and mean squared radius are those of the annulus', () => {
    for (const obstruction of [0, 0.3, 0.5]) {
      const n = 40;
      const share = annulus(n, obstruction);
      let area = 0;
      let second = 0;
      share.forEach((value, i) => {
        const u = ((Math.floor(i / n) + 0.5) * 2) / n - 1;
        const v = (((i % n) + 0.5) * 2) / n - 1;
        area += value;
        second += value * (u * u + v * v);
      });
      // pi (1 - eps^2) of 4 units of area; sampling of the edge cells' own extent: (2 / n)^2 / 6.
      expect(area / n ** 2).toBeCloseTo((Math.PI * (1 - obstruction ** 2)) / 4, 3);
      expect(second / area).toBeCloseTo(annulusMeans(obstruction).rho2, 2);
    }
  });

  test('width of the diffraction pattern (handbook section 5.1; eps = 0 also GalSim airy.py)', () => {
    const table = [
      [0, 1.029],
      [0.2, 1.0068],
      [0.3, 0.9811],
      [0.35, 0.9656],
      [0.4, 0.9486],
      [0.5, 0.9117],
    ];
    for (const [obstruction, width] of table)
      expect(Math.abs(diffractionFwhm(obstruction) - width)).toBeLessThan(5e-4);
  });
});
