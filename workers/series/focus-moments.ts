import { invertSymmetric, solveSymmetric } from '../math/linear.ts';
import { median, quantile } from '../math/robust.ts';
import { sandwich } from './focus-fit.ts';
import { defocusAt, P, type FocusModel } from './focus-model.ts';
import type { FocusSamples } from './focus-samples.ts';

/** Focus, tilt x, tilt y and curvature, in the units of `P`, and their covariance (4 x 4, row-major). */
export interface MomentSurface {
  value: Float64Array;
  covariance: Float64Array;
}

export const SURFACE = 4;

/** Parameters after the surface's four: ln growth (px² per step²), blur in focus (px²), its change over the field, air per frame. */
const Q = { lnGrowth: SURFACE, blur: 5, x: 6, y: 7, r2: 8, air: 9 } as const;

/** Second moments of a star whose size is known worse than this are mostly those of the sky. */
const MOST_SIGMA = 0.05;
const FEWEST = 40;
/** Relative error of a second moment: a part that all have, and so many times that of the half-flux diameter. */
const COMMON = 0.04;
const PER_SIZE = 4;
/** Change of the whole frame's blur, relative: the air's, and that of how far out its stars are measured. */
const AIR_SIGMA = 0.1;
const LEAST_BLUR_PX2 = 0.05;
/** As in focus-fit.ts. */
const CAUCHY = 2.385;
const MEDIAN_SIGMAS = 0.6745;
const ROUNDS = 40;
const TRIES = 8;

/**
 * The focal surface by the stars' second moments alone. Moments of convolved images add: the mean over the two axes is
 * blur + coma + astigmatism + growth · z², and over a round pupil neither coma nor astigmatism has a part that changes its
 * sign with the defocus z (handbook of optics: M = δ²m + 4m|A|² + (9m² + 45V)|C|²). So its least lies at the medial focus
 * whatever the coma, where that of the half-flux diameter moves as soon as coma and astigmatism come together. Coma's
 * part, |c0 + c1 r|², is a constant, a slope and r². Moments are noisier than diameters, and `growth` is fitted, as wide stars
 * lose some of theirs beyond the circle they are measured in. `start` is a fit by sizes. Null when too few stars have moments.
 */
export function momentSurface(
  model: FocusModel,
  start: Float64Array,
  samples: FocusSamples,
): MomentSurface | null {
  const used: number[] = [];
  for (let i = 0; i < samples.count; i++)
    if (samples.rmsPx[i] > 0 && samples.sigma[i] < MOST_SIGMA) used.push(i);
  if (used.length < FEWEST) return null;
  const n = Q.air + model.positions.length;
  let theta = startOf(model, start, samples, used, n);
  let damping = 1e-2;
  for (let round = 0; round < ROUNDS; round++) {
    const spread = spreadOf(model, theta, samples, used);
    const { normal, right } = equations(model, theta, samples, used, spread);
    const before = costOf(model, theta, samples, used, spread);
    let gained = 0;
    for (let tries = 0; tries < TRIES && gained === 0; tries++) {
      const damped = Float64Array.from(normal);
      for (let k = 0; k < n; k++) damped[k * n + k] *= 1 + damping;
      const step = solveSymmetric(damped, right);
      const next = step ? theta.map((value, k) => value + step[k]) : theta;
      const gain = before - costOf(model, next, samples, used, spread);
      if (gain > 0) {
        theta = next;
        gained = gain;
        damping = Math.max(damping / 6, 1e-7);
      } else damping *= 8;
    }
    if (gained < 1e-3) break;
  }
  const { normal, scores } = equations(model, theta, samples, used, spreadOf(model, theta, samples, used));
  const inverse = invertSymmetric(normal, n);
  if (!inverse) return null;
  const whole = sandwich(inverse, [...scores.values()], n);
  const covariance = Float64Array.from(
    { length: SURFACE ** 2 },
    (_, i) => whole[Math.floor(i / SURFACE) * n + (i % SURFACE)],
  );
  return covariance.every(Number.isFinite) ? { value: theta.slice(0, SURFACE), covariance } : null;
}

function startOf(model: FocusModel, start: Float64Array, s: FocusSamples, used: number[], n: number) {
  const theta = new Float64Array(n);
  theta.set(start.subarray(0, SURFACE));
  // Per axis (1 + ε²)/4 of the square of the disc's radius.
  const edgePx = model.law.discRadiusPx * Math.exp(start[P.lnScale]);
  theta[Q.lnGrowth] = Math.log(((1 + model.obstruction ** 2) / 4) * edgePx ** 2);
  theta[Q.blur] = quantile(
    used.map((i) => s.rmsPx[i] ** 2),
    0.125,
  );
  return theta;
}

/** Moment seen less that expected, its usual error, and what the expected one is made of. */
function residual(model: FocusModel, theta: Float64Array, s: FocusSamples, i: number) {
  const [x, y, frame] = [s.x[i], s.y[i], s.frame[i]];
  const z = defocusAt(theta, model.positions[frame], x, y);
  const growth = Math.exp(theta[Q.lnGrowth]);
  const r2 = x * x + y * y;
  const air = 1 + theta[Q.air + frame];
  const blur = theta[Q.blur] * air + theta[Q.x] * x + theta[Q.y] * y + theta[Q.r2] * r2;
  const expected = Math.max(LEAST_BLUR_PX2, blur) + growth * z * z;
  const sigma = Math.hypot(COMMON, PER_SIZE * s.sigma[i]) * expected;
  return { off: s.rmsPx[i] ** 2 - expected, sigma, x, y, r2, z, growth, air };
}

function spreadOf(model: FocusModel, theta: Float64Array, s: FocusSamples, used: number[]): number {
  const off = used.map((i) => {
    const { off, sigma } = residual(model, theta, s, i);
    return Math.abs(off) / sigma;
  });
  return Math.max(0.3, median(off) / MEDIAN_SIGMAS);
}

function costOf(
  model: FocusModel,
  theta: Float64Array,
  s: FocusSamples,
  used: number[],
  spread: number,
): number {
  let sum = 0;
  for (const i of used) {
    const { off, sigma } = residual(model, theta, s, i);
    sum += CAUCHY ** 2 * Math.log1p((off / sigma / spread / CAUCHY) ** 2) + 2 * Math.log(sigma);
  }
  for (let k: number = Q.air; k < theta.length; k++) sum += (theta[k] / AIR_SIGMA) ** 2;
  return sum;
}

function equations(model: FocusModel, theta: Float64Array, s: FocusSamples, used: number[], spread: number) {
  const n = theta.length;
  const normal = new Float64Array(n * n);
  const right = new Float64Array(n);
  const scores = new Map<number, Float64Array>();
  for (const i of used) {
    const { off, sigma, x, y, r2, z, growth, air } = residual(model, theta, s, i);
    const row = new Float64Array(n);
    const byZ = 2 * growth * z;
    row[P.focus] = -byZ;
    row[P.tiltX] = byZ * x;
    row[P.tiltY] = byZ * y;
    row[P.curvature] = (-byZ * r2) / 2;
    row[Q.lnGrowth] = growth * z * z;
    row[Q.blur] = air;
    row[Q.x] = x;
    row[Q.y] = y;
    row[Q.r2] = r2;
    row[Q.air + s.frame[i]] = theta[Q.blur];
    const width = sigma * spread;
    const weight = 1 / (1 + (off / width / CAUCHY) ** 2) / width ** 2;
    const score = scores.get(s.star[i]) ?? new Float64Array(n);
    scores.set(s.star[i], score);
    for (let k = 0; k < n; k++) {
      if (row[k] === 0) continue;
      right[k] += weight * row[k] * off;
      score[k] += weight * row[k] * off;
      for (let l = 0; l < n; l++) normal[k * n + l] += weight * row[k] * row[l];
    }
  }
  for (let k: number = Q.air; k < n; k++) {
    normal[k * n + k] += AIR_SIGMA ** -2;
    right[k] -= theta[k] * AIR_SIGMA ** -2;
  }
  return { normal, right, scores };
}
