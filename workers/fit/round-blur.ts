import { fwhmOfTransfer } from '../math/transfer-width.ts';
import { P } from './parameters.ts';
import type { Plan } from './plan.ts';

/** FWHM of a long-exposure Kolmogorov image in units of lambda / r0, and the constant of its transfer function. */
export const KOLMOGOROV_WIDTH = 0.975863;
export const KOLMOGOROV_DECAY = 3.44193;

/** Per-axis sigma of the broad part of the free core, in units of the round blur's FWHM. */
const CORE_SIGMA = 1.2;

/** What is round and the same for all stars, but for the pixel. */
export interface Roundness {
  /** FWHM of the Kolmogorov part, px. */
  blurPx: number;
  /** Share of light in a broad Gaussian. */
  core: number;
}

/** The round blur that a field's parameters stand for. */
export const roundnessOf = (theta: ArrayLike<number>): Roundness => ({
  blurPx: Math.exp(theta[P.lnBlur]),
  core: theta[P.core],
});

/**
 * What is round and the same for all stars: pixel, air, and a free core that takes a share of the light into a broad
 * Gaussian. Real tables [fy][fx] over the plan's frequencies, weights of the Fourier sum included.
 */
export interface RoundBlur {
  value: Float64Array;
  /** Derivatives of the value. */
  byLnBlur: Float64Array;
  byCore: Float64Array;
}

const sinc = (x: number) => (Math.abs(x) < 1e-9 ? 1 : Math.sin(Math.PI * x) / (Math.PI * x));

/** Transfer of the round blur at `f` cycles per pixel. */
function transferAt({ blurPx, core }: Roundness, f: number): number {
  const air = Math.exp(-KOLMOGOROV_DECAY * ((f * blurPx) / KOLMOGOROV_WIDTH) ** (5 / 3));
  const gauss = Math.exp(-2 * (Math.PI * f * CORE_SIGMA * blurPx) ** 2);
  return air * (1 - core + core * gauss);
}

/** FWHM in px of all that is round, as an infinitely fine camera behind perfect optics would see it. */
export function roundFwhmPx(round: Roundness): number {
  if (round.core === 0) return round.blurPx;
  return fwhmOfTransfer((f) => transferAt(round, f), 2.2 / round.blurPx);
}

export function roundBlur(plan: Plan, { blurPx, core }: Roundness): RoundBlur {
  const { freqs, freqStride, step } = plan;
  const value = new Float64Array(freqs * freqStride);
  const byLnBlur = new Float64Array(freqs * freqStride);
  const byCore = new Float64Array(freqs * freqStride);
  const pixel = Float64Array.from({ length: freqs }, (_, i) => sinc(i * step));
  const sigma2 = (CORE_SIGMA * blurPx) ** 2;
  for (let a = 0; a < freqs; a++)
    for (let b = 0; b < freqs; b++) {
      // The half plane fy > 0 stands for its mirror image too.
      const weight = (a === 0 ? 1 : 2) * step * step * pixel[a] * pixel[b];
      const f = step * Math.hypot(a, b);
      const decay = KOLMOGOROV_DECAY * ((f * blurPx) / KOLMOGOROV_WIDTH) ** (5 / 3);
      const air = weight * Math.exp(-decay);
      const broad = 2 * Math.PI * Math.PI * f * f * sigma2;
      const gauss = Math.exp(-broad);
      const share = 1 - core + core * gauss;
      const at = a * freqStride + b;
      value[at] = air * share;
      byLnBlur[at] = (-5 / 3) * decay * air * share - air * core * gauss * 2 * broad;
      byCore[at] = air * (gauss - 1);
    }
  return { value, byLnBlur, byCore };
}
