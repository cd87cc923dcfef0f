import { beforeAll, describe, expect, test } from 'vitest';
import { createRandom } from '../../workers/simulate/random.ts';
import type { Kernels } from '../../workers/wasm/kernels.ts';
import * as oracle from '../oracle/profile.ts';
import { AREA, MIDDLE, type Model, type Noise, type ProfileParameters } from '../oracle/profile.ts';
import type { Sample } from '../oracle/stamp.ts';
import { columnOf, listOf, nodesOf } from '../support/pixel-list.ts';
import { inArena, testKernels } from '../support/planes.ts';

let kernels: Kernels;
beforeAll(async () => {
  kernels = await testKernels();
});

const OK = 0;
const LOST = 1;

function kernelFit(
  samples: Sample[],
  { k, nodes, wing = 0 }: Model,
  noise: Noise,
  start: ProfileParameters,
  iterations = 40,
  prior: oracle.Prior = oracle.FREE,
  held = false,
) {
  return inArena(kernels, () => {
    const { run, arena } = kernels;
    const list = listOf(kernels, samples);
    const [params, covariance, fit, work] = [72, 392, 32, 1416].map((bytes) => arena.alloc(bytes));
    arena.f64(params, 9).set([...start, wing, Math.LN2 / oracle.halfHeight({ k, nodes, wing })]);
    const status = run.fitProfile(
      list.address,
      list.capacity,
      list.count,
      nodesOf(kernels, nodes),
      nodes.length,
      k,
      noise.skyVariance,
      noise.unitsPerElectron,
      prior.expected,
      prior.perHeight,
      prior.certainty,
      held,
      iterations,
      4e-3,
      params,
      covariance,
      fit,
      work,
    );
    const [chi2PerDof, deviance, used] = arena.f64(fit, 3);
    return {
      status,
      parameters: [...arena.f64(params, 7)] as ProfileParameters,
      covariance: Array.from({ length: 7 }, (_, row) => [...arena.f64(covariance + row * 56, 7)]),
      chi2PerDof,
      deviance,
      used,
      residuals: columnOf(kernels, list, 4).slice(0, samples.length),
    };
  });
}

/** Seeded pixels of a profile on a disc, a mosaic's half or with a bite taken out. */
function pixelsOf(
  truth: ProfileParameters,
  model: Model,
  noise: Noise,
  radius: number,
  seed: number,
  keep: (dx: number, dy: number) => boolean,
): Sample[] {
  const random = createRandom(seed);
  const samples: Sample[] = [];
  for (let dy = -radius; dy <= radius; dy++)
    for (let dx = -radius; dx <= radius; dx++) {
      if (dx * dx + dy * dy > radius * radius || !keep(dx, dy)) continue;
      const light = oracle.star(truth, model, dx, dy);
      const spread = Math.sqrt(noise.skyVariance + noise.unitsPerElectron * light);
      samples.push({ dx, dy, value: Math.fround(truth[1] + light + spread * random.normal()) });
    }
  return samples;
}

const MODEL: Model = { k: 0.28, nodes: MIDDLE };

const everywhere = () => true;
const greens = (dx: number, dy: number) => ((dx + dy) & 1) === 0;
const bitten = (dx: number, dy: number) => Math.hypot(dx - 5, dy - 1) > 3.2;

const CASES: [string, ProfileParameters, number, Noise, (dx: number, dy: number) => boolean][] = [
  [
    'round, k 0.28',
    [900, 3, 0.2, -0.3, 0.25, 0.25, 0],
    0.28,
    { skyVariance: 150, unitsPerElectron: 2 },
    everywhere,
  ],
  [
    'all but Gaussian',
    [4000, -2, -0.4, 0.1, 0.2, 0.12, 0.03],
    0.01,
    { skyVariance: 90, unitsPerElectron: 1 },
    everywhere,
  ],
  [
    'strong wings',
    [20000, 0, 0.5, 0.5, 0.4, 0.3, -0.1],
    0.55,
    { skyVariance: 30, unitsPerElectron: 0.5 },
    everywhere,
  ],
  ['long', [700, 1, 0.1, 0.2, 0.3, 0.02, 0.04], 0.2, { skyVariance: 100, unitsPerElectron: 0 }, everywhere],
  ['faint', [60, 0, 0, 0.3, 0.15, 0.2, 0.02], 0.28, { skyVariance: 144, unitsPerElectron: 1 }, everywhere],
  ['a mosaic', [1500, 4, 0.3, 0.1, 0.2, 0.3, 0.05], 0.3, { skyVariance: 120, unitsPerElectron: 3 }, greens],
  [
    'a masked neighbour',
    [1500, 4, 0.3, 0.1, 0.2, 0.3, 0.05],
    0.3,
    { skyVariance: 120, unitsPerElectron: 3 },
    bitten,
  ],
  [
    'narrow',
    [3000, 0, -0.2, 0.3, 1.5, 1.3, 0.2],
    0.25,
    { skyVariance: 100, unitsPerElectron: 1 },
    everywhere,
  ],
];

const FORMS: [seed: number, nodes: oracle.Node[], wing: number][] = [
  [0, MIDDLE, 0],
  [1, MIDDLE, 0],
  [2, AREA, 0],
  [0, MIDDLE, 0.08],
  [1, AREA, 0.08],
];

describe('the profile fit finds what the plain fit finds, within a hundredth of a standard error', () => {
  test.each(CASES)('%s', (_, truth, k, noise, keep) => {
    for (const [seed, nodes, wing] of FORMS) {
      const model = { k, nodes, wing };
      const samples = pixelsOf(truth, model, noise, 11, seed, keep);
      const start: ProfileParameters = [
        truth[0] * 0.8,
        0,
        0,
        0,
        truth[4] * 1.2,
        truth[5] * 0.9,
        truth[6] * 0.8,
      ];
      const got = kernelFit(samples, model, noise, start);
      const want = oracle.fitProfile(samples, model, noise, truth);
      expect(got.status).toBe(OK);
      got.parameters.forEach((value, i) => {
        const sigma = Math.sqrt(want.covariance[i][i]);
        // The kernel stops at a step of a hundredth of a standard error; single precision adds less.
        expect(Math.abs(value - want.parameters[i]) / sigma, `parameter ${i}`).toBeLessThan(0.015);
        want.covariance[i].forEach((c, j) =>
          expect(
            Math.abs(got.covariance[i][j] - c) / Math.sqrt(want.covariance[i][i] * want.covariance[j][j]),
            `covariance ${i} ${j}`,
          ).toBeLessThan(0.01),
        );
      });
      // What the last step left of the residuals, to a fiftieth of the noise.
      samples.forEach(({ dx, dy, value }, i) => {
        const rest = value - oracle.star(got.parameters, model, dx, dy) - got.parameters[1];
        expect(Math.abs(got.residuals[i] - rest)).toBeLessThan(0.02 * Math.sqrt(noise.skyVariance));
      });
      expect(got.used).toBe(samples.length);
      expect(got.chi2PerDof / (want.chi2 / (samples.length - 7))).toBeCloseTo(1, 3);
      expect(Math.abs(got.deviance - want.deviance)).toBeLessThan(0.05);
    }
  });

  test.each(CASES)(
    '%s, with a background that is known to a tenth of the noise',
    (_, truth, k, noise, keep) => {
      const model = { k, nodes: MIDDLE };
      const samples = pixelsOf(truth, model, noise, 9, 7, keep);
      const prior = { expected: 3, perHeight: -0.002, certainty: 100 / noise.skyVariance };
      const got = kernelFit(samples, model, noise, truth, 40, prior);
      const want = oracle.fitProfile(samples, model, noise, truth, prior);
      expect(got.status).toBe(OK);
      got.parameters.forEach((value, i) => {
        expect(Math.abs(value - want.parameters[i]) / Math.sqrt(want.covariance[i][i])).toBeLessThan(0.015);
        expect(got.covariance[i][i] / want.covariance[i][i]).toBeCloseTo(1, 1);
      });
    },
  );

  test('with its shape held only light, background and place move, and to where chi² is lowest', () => {
    const [, truth, k, noise, keep] = CASES[0];
    const model = { k, nodes: MIDDLE };
    const samples = pixelsOf(truth, model, noise, 9, 11, keep);
    const start = [...truth] as ProfileParameters;
    start[2] += 0.3;
    const { parameters, status, covariance } = kernelFit(samples, model, noise, start, 40, oracle.FREE, true);
    expect(status).toBe(OK);
    expect(parameters.slice(4)).toEqual(truth.slice(4));
    const chi2 = (p: ProfileParameters) =>
      samples.reduce((sum, { dx, dy, value }) => {
        const light = oracle.star(parameters, model, dx, dy);
        const off = value - oracle.star(p, model, dx, dy) - p[1];
        return sum + off ** 2 / (noise.skyVariance + noise.unitsPerElectron * light);
      }, 0);
    const lowest = chi2(parameters);
    for (const i of [0, 1, 2, 3])
      for (const way of [-1, 1]) {
        const moved = [...parameters] as ProfileParameters;
        moved[i] += 0.3 * way * Math.sqrt(covariance[i][i]);
        expect(chi2(moved), `parameter ${i}`).toBeGreaterThan(lowest);
      }
  });

  test('and its errors are true: 300 fits scatter as the covariance says', () => {
    const [, truth, k, noise] = CASES[0];
    const model = { k, nodes: MIDDLE };
    const pulls = Array.from({ length: 7 }, () => [] as number[]);
    for (let seed = 1; seed <= 300; seed++) {
      const { parameters, covariance, status } = kernelFit(
        pixelsOf(truth, model, noise, 11, seed, everywhere),
        model,
        noise,
        truth,
      );
      expect(status).toBe(OK);
      parameters.forEach((value, i) => pulls[i].push((value - truth[i]) / Math.sqrt(covariance[i][i])));
    }
    for (const [i, pull] of pulls.entries()) {
      const mean = pull.reduce((a, b) => a + b) / pull.length;
      const rms = Math.sqrt(pull.reduce((sum, value) => sum + value ** 2, 0) / pull.length);
      // Standard errors over 300: 0.058 of the mean, 0.041 of the rms.
      expect(Math.abs(mean), `bias of ${i}`).toBeLessThan(0.2);
      expect(Math.abs(rms - 1), `scatter of ${i}`).toBeLessThan(0.15);
    }
  });

  test('says that it is lost where there is no star', () => {
    const noise = { skyVariance: 100, unitsPerElectron: 0 };
    const flat = pixelsOf([0, 0, 0, 0, 1, 1, 0], MODEL, noise, 8, 1, everywhere).map(({ dx, dy }) => ({
      dx,
      dy,
      value: dx - 30,
    }));
    expect(kernelFit(flat, MODEL, noise, [50, 0, 0, 0, 0.2, 0.2, 0]).status).toBe(LOST);
  });
});

describe('residual rings', () => {
  const p: ProfileParameters = [1500, 4, 0.3, 0.1, 0.2, 0.3, 0.05];
  const noise = { skyVariance: 120, unitsPerElectron: 3 };
  const kernelRings = (
    samples: Sample[],
    { k, nodes, wing = 0 }: Model,
    q: ProfileParameters,
    wish: oracle.RingWish,
  ) =>
    inArena(kernels, () => {
      const { run, arena } = kernels;
      const list = listOf(kernels, samples);
      const params = arena.alloc(72);
      const [sums, counts, data] = [0, 1, 2].map(() => arena.alloc(wish.rings * 8));
      const moments = arena.alloc(64);
      arena.f64(params, 9).set([...q, wing, Math.LN2 / oracle.halfHeight({ k, nodes, wing })]);
      const { address, capacity, count } = list;
      run.subtractProfile(address, capacity, count, nodesOf(kernels, nodes), nodes.length, k, params);
      run.residualRings(
        address,
        capacity,
        count,
        params,
        wish.ringsPerPx,
        wish.rings,
        wish.weight.xx,
        wish.weight.yy,
        wish.weight.xy,
        sums,
        counts,
        data,
        moments,
      );
      return {
        sums: arena.f64(sums, wish.rings).slice(),
        counts: arena.f64(counts, wish.rings).slice(),
        data: arena.f64(data, wish.rings).slice(),
        moments: arena.f64(moments, 8).slice(),
        residuals: columnOf(kernels, list, 4).slice(0, samples.length),
      };
    });

  test.each([
    ['with the profile', 1500],
    ['of the pixels alone', 0],
  ])('%s equal the plain version', (_, amplitude) => {
    for (const keep of [everywhere, greens, bitten])
      for (const [k, nodes, wing] of [
        [0.01, MIDDLE, 0],
        [0.28, AREA, 0],
        [0.55, MIDDLE, 0],
        [0.15, AREA, 0.1],
      ] as const) {
        const model = { k, nodes, wing };
        const samples = pixelsOf(p, model, noise, 12, 7, keep);
        const wish = { ringsPerPx: 2, rings: 21, weight: { xx: 5, yy: 3.4, xy: 0.8 } };
        const q: ProfileParameters = [amplitude, ...p.slice(1)] as ProfileParameters;
        const [got, want] = [
          kernelRings(samples, model, q, wish),
          oracle.residualRings(samples, model, q, wish),
        ];
        expect(got.counts).toEqual(want.counts);
        // Single precision of values up to 1500, up to 70 pixels a ring.
        for (let ring = 0; ring < wish.rings; ring++) {
          expect(Math.abs(got.sums[ring] - want.sums[ring])).toBeLessThan(0.02);
          expect(Math.abs(got.data[ring] - want.data[ring])).toBeLessThan(1e-3);
        }
        const scale = amplitude > 0 ? 1 : 30;
        // The plain dipole is a sum of 400 products up to 15000, all in single precision.
        got.moments.forEach((value, i) =>
          expect(Math.abs(value - want.moments[i]) / scale, `moment ${i}`).toBeLessThan(1),
        );
      }
  });

  test('the profile itself is right to single precision over twelve orders of magnitude of its argument', () => {
    // One pixel at each distance; the value is 0, so the residual is minus the profile. Checked against Math.pow.
    const random = createRandom(2);
    const samples = Array.from({ length: 400 }, () => ({
      dx: Math.fround(10 ** (-3 + 6 * random.uniform())),
      dy: 0,
      value: 0,
    }));
    for (const k of [0.01, 0.06, 0.12, 0.2, 0.28, 0.36, 0.45, 0.55]) {
      const round: ProfileParameters = [1, 0, 0, 0, 0.1, 0.1, 0];
      const wish = { ringsPerPx: 1, rings: 1, weight: { xx: 1, yy: 1, xy: 0 } };
      // The middle twice over is a rule of two points: no more than the profile there.
      const twice = [0, 1].map(() => ({ x: 0, y: 0, weight: 0.5 }));
      const { residuals } = kernelRings(samples, { k, nodes: twice }, round, wish);
      samples.forEach(({ dx }, i) => {
        const want = (1 + k * 0.1 * dx * dx) ** (-1 / k);
        // 1 + k q is rounded to 6e-8, which the power 1/k multiplies; exponential and logarithm add some 5e-7.
        expect(Math.abs(-residuals[i] - want), `k ${k}, at ${dx}`).toBeLessThan(1e-6 + 1e-7 / k);
        // In the wings the relative error counts: an exponent of up to 100 is itself rounded to 4e-6.
        if (want > 1e-30) expect(Math.abs(-residuals[i] / want - 1), `k ${k}, at ${dx}`).toBeLessThan(6e-5);
      });
    }
  });
});
