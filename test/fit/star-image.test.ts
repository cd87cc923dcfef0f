import { describe, expect, test } from 'vitest';
import { LOCAL, LOCALS } from '../../workers/fit/parameters.ts';
import type { Local, PathKind } from '../../workers/fit/parameters.ts';
import { freePath } from '../../workers/fit/free-path.ts';
import type { Legs } from '../../workers/fit/free-path.ts';
import { pathTable } from '../../workers/fit/path.ts';
import { makePlan } from '../../workers/fit/plan.ts';
import { roundBlur } from '../../workers/fit/round-blur.ts';
import { starImages } from '../../workers/fit/star-image.ts';
import { loadKernels } from '../../workers/wasm/kernels.ts';
import { oracleImage } from '../oracle/psf.ts';

const optics = {
  focalRatio: 4.5,
  pixelUm: 3.8,
  obstruction: 0.3,
  wavelengthUm: 0.555,
  colourShiftPx: { x: 1.9, y: -1.2 },
};
const SIDE = 17;
const kernels = await loadKernels();
const plan = makePlan(kernels, { optics, sidePx: SIDE, periodSides: 1.5, maxFrequency: 0.6 });

const values: Partial<Record<Local, number>> = {
  defocus: 1.7,
  comaX: 0.9,
  comaY: -0.6,
  astigmatism0: 0.8,
  astigmatism45: -0.5,
  trefoil0: 0.4,
  trefoil1: 0.7,
  spherical: 0.5,
  lnBlur: Math.log(2.3),
  core: 0.2,
  colourSpread: 0.08,
  motionX: 1.9,
  motionY: -1.1,
  path1: 0.6,
  path2: 0.2,
  leg1X: 1.1,
  leg1Y: 0.2,
  leg2X: 0.4,
  leg2Y: 0.9,
  leg3X: -0.3,
  leg3Y: 0.6,
  leg4X: 0,
  leg4Y: 1.3,
};
const locals = (changes: Partial<Record<Local, number>> = {}) =>
  Float64Array.from(LOCALS, (name) => ({ ...values, ...changes })[name] ?? 0);

const legsIn = (local: Float64Array): Legs =>
  [0, 1, 2, 3].map((i) => [local[LOCAL.leg1X + 2 * i], local[LOCAL.leg1X + 2 * i + 1]]);

function image(kind: PathKind, local: Float64Array, dx: number, dy: number, wanted: number[] | null) {
  const scene = {
    plan,
    round: roundBlur(plan, {
      blurPx: Math.exp(local[LOCAL.lnBlur]),
      core: local[LOCAL.core],
    }),
    path: pathTable(kind, local[LOCAL.path1], local[LOCAL.path2], 4),
    free: kind === 'free' ? freePath(plan, legsIn(local), wanted !== null) : null,
    wanted,
  };
  const made = starImages(kernels, scene, local, dx, dy);
  const crop = (padded: Float32Array) => {
    const out = new Float64Array(SIDE * SIDE);
    for (let y = 0; y < SIDE; y++)
      for (let x = 0; x < SIDE; x++) out[y * SIDE + x] = padded[y * plan.sideStride + x];
    return out;
  };
  return { value: crop(made.value), derivatives: made.derivatives.map(crop) };
}

const worst = (a: Float64Array, b: Float64Array) =>
  a.reduce((most, value, i) => Math.max(most, Math.abs(value - b[i])), 0);
const peak = (a: Float64Array) => a.reduce((most, value) => Math.max(most, Math.abs(value)), 0);

describe('image of one star', () => {
  test('equals a slow double-precision sum over the pupil', () => {
    const local = locals({ core: 0, colourSpread: 0 });
    const [w, F, px] = [values, optics.focalRatio, optics.pixelUm];
    const sinc = (x: number) => (x === 0 ? 1 : Math.sin(Math.PI * x) / (Math.PI * x));
    const expected = oracleImage({
      ...optics,
      sidePx: SIDE,
      dxPx: 0.3,
      dyPx: -0.2,
      samples: plan.pupil,
      maxFrequency: 0.6,
      // Conventions of the report: W = dz rho^2 / 8F^2, C.(u, v)(rho^2 - 2/3), A0 (u^2 - v^2) + 2 A45 uv,
      // T0 (u^3 - 3uv^2) + T1 (3u^2 v - v^3), S (6 rho^4 - 6 rho^2), each with its spot radius in pixels.
      wavefrontUm: (u, v) => {
        const r2 = u * u + v * v;
        return (
          ((w.defocus! * 2 * F * px) / (8 * F * F)) * r2 +
          (px / (2 * F)) * (w.comaX! * u + w.comaY! * v) * (r2 - 2 / 3) +
          (px / (4 * F)) * (w.astigmatism0! * (u * u - v * v) + 2 * w.astigmatism45! * u * v) +
          (px / (6 * F)) * (w.trefoil0! * (u ** 3 - 3 * u * v * v) + w.trefoil1! * (3 * u * u * v - v ** 3)) +
          (px / (24 * F)) * w.spherical! * (6 * r2 * r2 - 6 * r2)
        );
      },
      others: (fx, fy) => {
        const air = Math.exp(-3.44193 * ((Math.hypot(fx, fy) * 2.3) / 0.975863) ** (5 / 3));
        return [sinc(fx) * sinc(fy) * air * sinc(fx * w.motionX! + fy * w.motionY!), 0];
      },
    });
    const made = image('straight', local, 0.3, -0.2, null).value;
    // Single precision over some thousand sums: 1e-5 of the peak.
    expect(worst(made, expected) / peak(expected)).toBeLessThan(2e-5);
  });

  for (const kind of ['straight', 'jump', 'swing', 'free'] as const)
    test(`derivatives with a ${kind} path equal central differences`, () => {
      const others: readonly string[] =
        kind === 'free'
          ? ['motionX', 'motionY', 'path1', 'path2']
          : LOCALS.filter((name) => name.startsWith('leg') || (name === 'path2' && kind === 'jump'));
      const wanted = LOCALS.map((_, index) => index).filter((index) => !others.includes(LOCALS[index]));
      const { derivatives } = image(kind, locals(), 0.3, -0.2, wanted);
      const check = (
        derivative: Float64Array,
        up: Float64Array,
        down: Float64Array,
        h: number,
        name: string,
      ) => {
        const numeric = up.map((value, i) => (value - down[i]) / (2 * h));
        // Differences of single-precision images: 1e-6 of the peak over 2 h, and the third derivative's h^2.
        const scale = peak(image(kind, locals(), 0.3, -0.2, null).value);
        expect(worst(derivative, numeric) / scale, name).toBeLessThan(1.5e-3);
      };
      wanted.forEach((index, i) => {
        const name = LOCALS[index];
        const h = 0.01;
        const [up, down] = [h, -h].map(
          (d) => image(kind, locals({ [name]: values[name]! + d }), 0.3, -0.2, null).value,
        );
        check(derivatives[i], up, down, h, name);
      });
      const shifted = (dx: number, dy: number) => image(kind, locals(), 0.3 + dx, -0.2 + dy, null).value;
      check(derivatives[wanted.length], shifted(0.01, 0), shifted(-0.01, 0), 0.01, 'x');
      check(derivatives[wanted.length + 1], shifted(0, 0.01), shifted(0, -0.01), 0.01, 'y');
    });
});
