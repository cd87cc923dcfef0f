/**
 * A seeded source of random numbers: the same seed gives the same frame on every machine.
 * The generator is xoshiro128** (Blackman & Vigna 2018), seeded through a 32-bit mixer.
 */
export interface Random {
  /** Uniform in [0, 1), 53 random bits. */
  uniform(): number;
  /** Standard normal deviate. */
  normal(): number;
  /** Poisson deviate of the given mean (0 for a mean that is not positive). */
  poisson(mean: number): number;
  /** Integer in [0, below). */
  integer(below: number): number;
}

export function createRandom(seed: number): Random {
  const state = seedState(seed);
  let spareNormal: number | null = null;

  function next32(): number {
    const [, s1] = state;
    const result = Math.imul(rotl(Math.imul(s1, 5), 7), 9) >>> 0;
    const shifted = s1 << 9;
    state[2] ^= state[0];
    state[3] ^= state[1];
    state[1] ^= state[2];
    state[0] ^= state[3];
    state[2] ^= shifted;
    state[3] = rotl(state[3], 11);
    return result;
  }

  const uniform = () => ((next32() >>> 5) * 67108864 + (next32() >>> 6)) / 9007199254740992;

  /** Polar method of Marsaglia & Bray (1964): two deviates at a time, one is kept for the next call. */
  function normal(): number {
    if (spareNormal !== null) {
      const value = spareNormal;
      spareNormal = null;
      return value;
    }
    for (;;) {
      const x = 2 * uniform() - 1;
      const y = 2 * uniform() - 1;
      const s = x * x + y * y;
      if (s >= 1 || s === 0) continue;
      const factor = Math.sqrt((-2 * Math.log(s)) / s);
      spareNormal = y * factor;
      return x * factor;
    }
  }

  function poisson(mean: number): number {
    if (!(mean > 0)) return 0;
    return mean < 10 ? smallPoisson(mean, uniform) : largePoisson(mean, uniform);
  }

  return { uniform, normal, poisson, integer: (below) => Math.floor(uniform() * below) };
}

const rotl = (x: number, k: number) => (x << k) | (x >>> (32 - k));

/** Spreads one number over the four words of the state; neighbouring seeds give unrelated states. */
function seedState(seed: number): Uint32Array {
  const state = new Uint32Array(4);
  let a = Math.floor(seed) >>> 0;
  for (let i = 0; i < 4; i++) {
    a = (a + 0x9e3779b9) >>> 0;
    let z = a;
    z = Math.imul(z ^ (z >>> 16), 0x85ebca6b);
    z = Math.imul(z ^ (z >>> 13), 0xc2b2ae35);
    state[i] = (z ^ (z >>> 16)) >>> 0;
  }
  return state;
}

/** Multiplication method (Knuth): counts uniform factors until their product falls below exp(-mean). */
function smallPoisson(mean: number, uniform: () => number): number {
  const limit = Math.exp(-mean);
  let product = uniform();
  let count = 0;
  while (product > limit) {
    product *= uniform();
    count++;
  }
  return count;
}

/** Transformed rejection, algorithm PTRS of Hörmann (1993), Insurance: Mathematics and Economics 12, 39; mean >= 10. */
function largePoisson(mean: number, uniform: () => number): number {
  const root = Math.sqrt(mean);
  const b = 0.931 + 2.53 * root;
  const a = -0.059 + 0.02483 * b;
  const inverseAlpha = 1.1239 + 1.1328 / (b - 3.4);
  const vr = 0.9277 - 3.6224 / (b - 2);
  const logMean = Math.log(mean);
  for (;;) {
    const u = uniform() - 0.5;
    const v = uniform();
    const us = 0.5 - Math.abs(u);
    const k = Math.floor(((2 * a) / us + b) * u + mean + 0.43);
    if (us >= 0.07 && v <= vr) return k;
    if (k < 0 || (us < 0.013 && v > us)) continue;
    const accept = Math.log((v * inverseAlpha) / (a / (us * us) + b));
    if (accept <= k * logMean - mean - logFactorial(k)) return k;
  }
}

/** ln k!, by table below 10 and Stirling's series above (error < 1e-10). */
function logFactorial(k: number): number {
  if (k < 10) return LOG_FACTORIALS[k];
  const n = k + 1;
  const r = 1 / (n * n);
  return (n - 0.5) * Math.log(n) - n + 0.9189385332046727 + (1 / 12 - r * (1 / 360 - r / 1260)) / n;
}

const LOG_FACTORIALS = [1, 1, 2, 6, 24, 120, 720, 5040, 40320, 362880].map(Math.log);
