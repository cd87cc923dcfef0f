import { beforeAll, describe, expect, test } from 'vitest';
import { createRandom } from '../../workers/simulate/random.ts';
import type { Kernels } from '../../workers/wasm/kernels.ts';
import { halfHeight, MIDDLE, star, type ProfileParameters } from '../oracle/profile.ts';
import { inArena, testKernels } from '../support/planes.ts';

let kernels: Kernels;
beforeAll(async () => {
  kernels = await testKernels();
});

const RINGS_PER_PX = 2;

/** Light of a profile as pixels hold it within r, by summing it over a fine grid of polar cells: no closed form. */
function summedLight(p: ProfileParameters, k: number, r: number, wing = 0): number {
  const [steps, turns] = [400, 96];
  let sum = 0;
  for (let i = 0; i < steps; i++)
    for (let j = 0; j < turns; j++) {
      const radius = ((i + 0.5) * r) / steps;
      const angle = ((j + 0.5) * 2 * Math.PI) / turns;
      sum +=
        radius *
        star(p, { k, nodes: MIDDLE, wing }, radius * Math.cos(angle) + p[2], radius * Math.sin(angle) + p[3]);
    }
  return (sum * (r / steps) * 2 * Math.PI) / turns;
}

const PROFILES: [string, ProfileParameters, number][] = [
  ['round Moffat', [900, 0, 0.2, -0.3, 0.25, 0.25, 0], 0.28],
  ['long Moffat', [900, 0, 0.2, -0.3, 0.3, 0.12, 0.06], 0.4],
  ['all but Gaussian', [4000, 0, 0, 0, 0.2, 0.12, 0.03], 0.01],
];

const withProfile = <T>(p: ProfileParameters, k: number, work: (params: number) => T, wing = 0): T =>
  inArena(kernels, () => {
    const params = kernels.arena.alloc(72);
    kernels.arena.f64(params, 9).set([...p, wing, Math.LN2 / halfHeight({ k, nodes: MIDDLE, wing })]);
    return work(params);
  });

describe('light within a circle', () => {
  test.each(PROFILES)('of a %s is the sum of its parts', (_, p, k) => {
    for (const wing of [0, 0.1])
      for (const r of [0.4, 1, 2.3, 5, 9]) {
        const got = withProfile(p, k, (params) => kernels.run.lightWithin(params, k, r), wing);
        // The midpoint rule over 400 steps errs by some 1e-5, single precision by as much where 1 - t^(..) cancels.
        expect(got / summedLight(p, k, r, wing)).toBeCloseTo(1, 4);
      }
  });
});

describe('half-light radius', () => {
  const found = (
    p: ProfileParameters,
    k: number,
    residuals: number[],
    halo: number[],
    haloLight: number,
    half: number,
  ) =>
    withProfile(p, k, (params) => {
      const [inside, shares] = [residuals, halo].map((values) => {
        const address = kernels.arena.alloc(values.length * 8 + 8);
        kernels.arena.f64(address, values.length).set(values);
        return address;
      });
      const rings = residuals.length - 1;
      const { run } = kernels;
      return run.halfLightRadius(
        params,
        k,
        inside,
        rings,
        RINGS_PER_PX,
        shares,
        halo.length,
        haloLight,
        half,
      );
    });
  const nothing = new Array<number>(25).fill(0);

  test.each(PROFILES)('of a %s alone', (_, p, k) => {
    for (const part of [0.1, 0.5, 0.8]) {
      const half = part * summedLight(p, k, 9);
      const r = found(p, k, nothing, [], 0, half);
      expect(summedLight(p, k, r) / half).toBeCloseTo(1, 4);
    }
  });

  test('with residuals that grow with the area between the edges of rings and a halo that grows with the radius', () => {
    const random = createRandom(4);
    const [, p, k] = PROFILES[0];
    for (let n = 0; n < 20; n++) {
      let sum = 0;
      const residuals = nothing.map((_, ring) => (ring === 0 ? 0 : (sum += 60 * random.normal())));
      const halo = Array.from({ length: 25 }, (_, ring) => 0.002 * (ring + 1) ** 1.5);
      const haloLight = 8000;
      const light = (r: number) => {
        const place = r * RINGS_PER_PX;
        const ring = Math.min(Math.floor(place), 23);
        const share = (place ** 2 - ring ** 2) / ((ring + 1) ** 2 - ring ** 2);
        const extra = residuals[ring] + share * (residuals[ring + 1] - residuals[ring]);
        const inner = ring === 0 ? 0 : halo[ring - 1];
        return summedLight(p, k, r) + extra + haloLight * (inner + (place - ring) * (halo[ring] - inner));
      };
      const half = light(12) / 2;
      // Residuals of a hundredth of the light a ring may make the curve fall here and there: any crossing will do.
      const r = found(p, k, residuals, halo, haloLight, half);
      expect(light(r) / half).toBeCloseTo(1, 3);
    }
  });

  test('of pixels alone, without a profile: half way through a disc of even light is 1 / sqrt 2 of its radius', () => {
    const disc = nothing.map((_, ring) => Math.PI * Math.min(ring / RINGS_PER_PX, 6) ** 2);
    const [, p, k] = PROFILES[0];
    const r = found([0, ...p.slice(1)] as ProfileParameters, k, disc, [], 0, (Math.PI * 36) / 2);
    expect(r).toBeCloseTo(6 / Math.SQRT2, 4);
  });

  test('is the last edge where half of the light is never reached', () => {
    const [, p, k] = PROFILES[0];
    expect(found(p, k, nothing, [], 0, 1e9)).toBe(12);
  });
});
