import { invertSymmetric, solveSymmetric } from '../math/linear.ts';
import { median } from '../math/robust.ts';
import { P, predict, type FocusModel } from './focus-model.ts';
import type { FocusSamples } from './focus-samples.ts';

/** What is known of a parameter beforehand. */
export interface Prior {
  value: number;
  sigma: number;
}

export interface FocusFit {
  theta: Float64Array;
  /** Covariance of theta, row-major. */
  covariance: Float64Array;
  cost: number;
  /** Standardised residuals of the samples, and common relative scatter beyond the stars' own errors. */
  residual: Float64Array;
  scatter: number;
}

/** Residuals beyond this count less and less (Cauchy's weight; 95 % efficiency at 2.385). */
const CAUCHY = 2.385;
const CORE_SIGMA = 0.1;
const ROUNDS = 60;
const TRIES = 8;
const MOST_SCATTER = 0.5;
/** Half of a Gaussian's residuals lie within this many of its sigmas. */
const MEDIAN_SIGMAS = 0.6745;

/** Change of the air's width from frame to frame, relative: where the search for it starts, and its bounds. */
const AIR_START = 0.05;
const AIR_LEAST = 0.008;
const AIR_MOST = 0.25;
const AIR_ROUNDS = 4;
const BEND_SIGMA = 0.006;
/** Coma in px: where the search starts, and how far it may lie from none. */
const COMA_START_PX = 0.5;
const COMA_SIGMA_PX = 6;

interface Priors {
  centre: Float64Array;
  weight: Float64Array;
}

function priorsOf(count: number, scale: Prior | null, airSigma: number): Priors {
  const centre = new Float64Array(count);
  const weight = new Float64Array(count);
  const know = (k: number, { value, sigma }: Prior) => {
    centre[k] = value;
    weight[k] = sigma ** -2;
  };
  for (let k: number = P.core; k < P.comaX; k++) know(k, { value: 0, sigma: CORE_SIGMA });
  for (const k of [P.comaX, P.comaY, P.comaField]) know(k, { value: 0, sigma: COMA_SIGMA_PX });
  know(P.bend, { value: 0, sigma: BEND_SIGMA });
  for (let k: number = P.air; k < count; k++) know(k, { value: 0, sigma: airSigma });
  if (scale) know(P.lnScale, scale);
  return { centre, weight };
}

/** A start with the parameters that have a usual value at it. */
export function plainStart(frames: number): Float64Array {
  const start = new Float64Array(P.air + frames);
  start[P.comaField] = COMA_START_PX;
  return start;
}

/**
 * The whole run at once, from the best of several starts. How much the air changes from frame to frame is learnt with it: the mean square of the frames'
 * own changes and of their errors (expectation and maximisation; Dempster, Laird & Rubin 1977).
 */
export function fitFocus(
  model: FocusModel,
  samples: FocusSamples,
  starts: Float64Array[],
  span: number,
  scale: Prior | null,
): FocusFit {
  let airSigma = AIR_START;
  const start = starts[0];
  const priors = priorsOf(start.length, scale, airSigma);
  const tried = starts.map((from) => fitWithAir(model, samples, from, span, priors));
  let fit = tried.reduce((best, each) => (each.cost < best.cost ? each : best));
  for (let round = 0; round < AIR_ROUNDS; round++) {
    const n = start.length;
    let sum = 0;
    for (let k: number = P.air; k < n; k++) sum += fit.theta[k] ** 2 + fit.curvature[k];
    const next = Math.max(AIR_LEAST, Math.min(AIR_MOST, Math.sqrt(sum / (n - P.air))));
    if (Math.abs(next / airSigma - 1) < 0.05) break;
    airSigma = next;
    fit = fitWithAir(model, samples, fit.theta, span, priorsOf(n, scale, airSigma));
  }
  return fit;
}

/**
 * Robust least squares over all stars and frames at once: Levenberg and Marquardt with Cauchy's weights; the scatter
 * beyond the stars' own errors is found with it. `span` (steps) bounds how far one step may go. Errors by the sandwich
 * over stars, so that a star that is wide in every frame counts once (Liang & Zeger 1986, Biometrika 73, 13).
 */
function fitWithAir(
  model: FocusModel,
  samples: FocusSamples,
  start: Float64Array,
  span: number,
  priors: Priors,
): FocusFit & { curvature: Float64Array } {
  const n = start.length;
  const measured = samples.hfdPx.map(Math.log);
  const off = (at: Float64Array) => {
    const { value } = predict(model, at, samples, false);
    return measured.map((size, i) => size - value[i]);
  };
  let theta = Float64Array.from(start);
  let r = off(theta);
  let scatter = scatterOf(r, samples);
  let cost = costOf(theta, r, scatter, samples, priors);
  let damping = 1e-3;
  for (let round = 0; round < ROUNDS; round++) {
    const { normal, right } = normalEquations(model, samples, theta, r, scatter, priors);
    let gained = 0;
    for (let tries = 0; tries < TRIES; tries++) {
      const damped = Float64Array.from(normal);
      for (let k = 0; k < n; k++) damped[k * n + k] = damped[k * n + k] * (1 + damping) + 1e-12;
      const step = solveSymmetric(damped, right);
      const far = step
        ? Math.max(Math.abs(step[P.focus]) / span, Math.abs(step[P.lnScale]), Math.abs(step[P.lnCore]))
        : 0;
      const part = far > 0.5 ? 0.5 / far : 1;
      const next = step ? theta.map((value, k) => value + part * step[k]) : theta;
      const nextR = step ? off(next) : r;
      const nextCost = costOf(next, nextR, scatter, samples, priors);
      if (nextCost < cost) {
        gained = cost - nextCost;
        theta = next;
        r = nextR;
        damping = Math.max(damping / 5, 1e-7);
        break;
      }
      damping *= 6;
    }
    const before = scatter;
    scatter = scatterOf(r, samples);
    cost = costOf(theta, r, scatter, samples, priors);
    if (gained < 1e-5 * samples.count && Math.abs(before - scatter) < 1e-3 * scatter + 1e-6) break;
  }
  const { normal, scores } = normalEquations(model, samples, theta, r, scatter, priors);
  const inverse = invertSymmetric(normal, n) ?? new Float64Array(n * n).fill(NaN);
  return {
    theta,
    covariance: sandwich(inverse, scores, n),
    curvature: theta.map((_, k) => inverse[k * n + k]),
    cost,
    residual: r.map((value, i) => value / Math.hypot(samples.sigma[i], scatter)),
    scatter,
  };
}

function costOf(
  theta: Float64Array,
  r: Float64Array,
  scatter: number,
  s: FocusSamples,
  priors: Priors,
): number {
  let sum = 0;
  for (let i = 0; i < s.count; i++) {
    const variance = s.sigma[i] ** 2 + scatter ** 2;
    sum += CAUCHY ** 2 * Math.log1p(r[i] ** 2 / variance / CAUCHY ** 2) + Math.log(variance);
  }
  for (let k = 0; k < theta.length; k++) sum += (theta[k] - priors.centre[k]) ** 2 * priors.weight[k];
  return sum;
}

function normalEquations(
  model: FocusModel,
  samples: FocusSamples,
  theta: Float64Array,
  r: Float64Array,
  scatter: number,
  { centre, weight: priorWeight }: Priors,
) {
  const n = theta.length;
  const gradient = predict(model, theta, samples, true).gradient!;
  const normal = new Float64Array(n * n);
  const right = new Float64Array(n);
  const scores = Array.from({ length: samples.stars }, () => new Float64Array(n));
  for (let i = 0; i < samples.count; i++) {
    const row = gradient.subarray(i * n, (i + 1) * n);
    const variance = samples.sigma[i] ** 2 + scatter ** 2;
    const weight = 1 / (1 + r[i] ** 2 / variance / CAUCHY ** 2) / variance;
    const score = scores[samples.star[i]];
    for (let k = 0; k < n; k++) {
      if (row[k] === 0) continue;
      const push = weight * row[k];
      right[k] += push * r[i];
      score[k] += push * r[i];
      for (let l = 0; l <= k; l++) normal[k * n + l] += push * row[l];
    }
  }
  for (let k = 0; k < n; k++) {
    normal[k * n + k] += priorWeight[k];
    right[k] += priorWeight[k] * (centre[k] - theta[k]);
    for (let l = 0; l < k; l++) normal[l * n + k] = normal[k * n + l];
  }
  return { normal, right, scores };
}

/** Scatter (relative) beyond the stars' own errors that puts half of the residuals within their share. */
function scatterOf(r: Float64Array, s: FocusSamples): number {
  const within = (scatter: number) =>
    median(r.map((value, i) => Math.abs(value) / Math.hypot(s.sigma[i], scatter)));
  if (within(0) < MEDIAN_SIGMAS) return 0;
  let [low, high] = [0, MOST_SCATTER];
  for (let round = 0; round < 14; round++) {
    const middle = (low + high) / 2;
    if (within(middle) > MEDIAN_SIGMAS) low = middle;
    else high = middle;
  }
  return high;
}

/** By the stars' scores, but no smaller than what the curvature of the fit gives. */
export function sandwich(inverse: Float64Array, scores: Float64Array[], n: number): Float64Array {
  const covariance = new Float64Array(n * n);
  const few = scores.length > 12 ? scores.length / (scores.length - 6) : 2;
  for (const score of scores) {
    const h = new Float64Array(n);
    for (let k = 0; k < n; k++) for (let l = 0; l < n; l++) h[k] += inverse[k * n + l] * score[l];
    for (let k = 0; k < n; k++) for (let l = 0; l < n; l++) covariance[k * n + l] += few * h[k] * h[l];
  }
  for (let k = 0; k < n; k++) {
    const ratio = inverse[k * n + k] / covariance[k * n + k];
    if (!(ratio > 1)) continue;
    const factor = Math.sqrt(ratio);
    for (let l = 0; l < n; l++) {
      covariance[k * n + l] *= factor;
      covariance[l * n + k] *= factor;
    }
  }
  return covariance;
}
