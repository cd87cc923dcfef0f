import { factor7, invert7, solve7 } from './cholesky7';
import { heldF32, largestLane, log2x4, sumLanes } from './lanes';
import { accumulate, SIZE } from './normal';
import { HALF_AT, WING_AT } from './profile';

// Maximum-likelihood fit of the profile of profile.ts to a list of pixels (stamp.ts).

const MAX_TRIES: i32 = 5;
const MATRIX_BYTES: usize = SIZE * SIZE * 8;
const VECTOR_BYTES: usize = SIZE * 8;

export const FIT_OK: i32 = 0;
export const FIT_LOST: i32 = 1; // ran out of bounds: no sane step, or a centre outside the pixels
export const FIT_SLOW: i32 = 2; // iterations used up; the result may serve all the same

/**
 * Fisher scoring with Levenberg damping. `params`: 9 f64 (profile.ts), start in, result out. `covariance`: 49 f64 out (row-major).
 * `fit`: 4 f64 out: chi² over degrees of freedom, deviance (chi² + sum of ln variance), pixels used, passes over them.
 * Variance of a pixel = skyVariance + max(model - B, 0) * unitsPerElectron, from the model itself.
 * B is expected at `expected` + `perHeight` A with a variance of 1 / `certainty`; 0 for a free B. With `held` the shape
 * (a, b, c) stays as it is; its part of the covariance is then without meaning.
 * `enough`: a step is the last when it is that short, as the square of its length in standard errors; what it leaves is of
 * second order, about a tenth of the step.
 * The list's fifth array is left with value minus profile.
 * `work`: 3 * 49 + 4 * 7 + 2 f64. Returns FIT_OK, FIT_LOST or FIT_SLOW.
 */
export function fitProfile(
  list: usize, capacity: i32, count: i32, nodes: usize, nodeCount: i32, k: f64, skyVariance: f64, unitsPerElectron: f64,
  expected: f64, perHeight: f64, certainty: f64, held: bool, iterations: i32, enough: f64, params: usize, covariance: usize, fit: usize, work: usize,
): i32 {
  let normal = work;
  let trialNormal = normal + MATRIX_BYTES;
  const damped = trialNormal + MATRIX_BYTES;
  let gradient = damped + MATRIX_BYTES;
  let trialGradient = gradient + VECTOR_BYTES;
  const step = trialGradient + VECTOR_BYTES;
  const trial = step + VECTOR_BYTES;
  store<f64>(trial, load<f64>(params, WING_AT), WING_AT);
  store<f64>(trial, load<f64>(params, HALF_AT), HALF_AT);
  let lambda: f64 = 0;
  let status = FIT_SLOW;
  let passes = 1;
  let failures = 0;
  let decrement: f64 = 0;
  let chi2 = accumulate(list, capacity, count, nodes, nodeCount, k, skyVariance, unitsPerElectron, params, normal, gradient, fit)
    + expect(expected, perHeight, certainty, held, params, normal, gradient, fit);
  while (passes <= iterations) {
    const solved = dampedStep(normal, gradient, lambda, damped, step);
    if (solved) {
      decrement = 0;
      for (let i: usize = 0; i < SIZE; i++) decrement += load<f64>(step + (i << 3)) * load<f64>(gradient + (i << 3));
    }
    if (solved && takeStep(params, step, trial)) {
      // The matrix in hand will do, and chi² falls by the square of the step. (Strong damping makes small steps anywhere; they prove nothing.)
      if (decrement < enough && lambda < 0.1) {
        settle(list, capacity, count, params, trial);
        copy(params, trial, SIZE);
        chi2 -= decrement;
        status = FIT_OK;
        break;
      }
      const trialChi2 = accumulate(list, capacity, count, nodes, nodeCount, k, skyVariance, unitsPerElectron, trial, trialNormal, trialGradient, fit)
        + expect(expected, perHeight, certainty, held, trial, trialNormal, trialGradient, fit);
      passes++;
      // Deep inside the quadratic bowl the step needs no proof; elsewhere chi² must fall, both with the weights of before.
      if (decrement < 1 || load<f64>(fit) <= chi2) {
        copy(params, trial, SIZE);
        const m = normal;
        normal = trialNormal;
        trialNormal = m;
        const g = gradient;
        gradient = trialGradient;
        trialGradient = g;
        chi2 = trialChi2;
        lambda = lambda < 1e-5 ? 0 : lambda * 0.1;
        failures = 0;
        continue;
      }
      accumulate(list, capacity, count, nodes, nodeCount, k, skyVariance, unitsPerElectron, params, normal, gradient, fit);
      expect(expected, perHeight, certainty, held, params, normal, gradient, fit);
    }
    lambda = max(lambda * 10, 1e-3);
    failures++;
    if (failures == MAX_TRIES) {
      status = FIT_LOST;
      break;
    }
  }
  if (!factor7(normal)) return FIT_LOST;
  invert7(normal, covariance);
  const inside = judge(list, capacity, count, chi2, passes, skyVariance, params, fit);
  return inside ? status : FIT_LOST;
}

/** So few numbers are copied faster one by one than by the memory's own copy. */
// @ts-ignore: decorator
@inline
function copy(to: usize, from: usize, count: usize): void {
  for (let i: usize = 0; i < count; i++) store<f64>(to + (i << 3), load<f64>(from + (i << 3)));
}

/** Adds to the normal equations what is known beforehand; returns B's share of chi², also added to the one before. */
function expect(
  expected: f64, perHeight: f64, certainty: f64, held: bool, params: usize, normal: usize, gradient: usize, fit: usize,
): f64 {
  const off = load<f64>(params, 8) - expected - perHeight * load<f64>(params);
  const pull = certainty * off;
  store<f64>(gradient, load<f64>(gradient) + perHeight * pull);
  store<f64>(gradient, load<f64>(gradient, 8) - pull, 8);
  const cross = load<f64>(normal, 8) - certainty * perHeight;
  store<f64>(normal, load<f64>(normal) + certainty * perHeight * perHeight);
  store<f64>(normal, cross, 8);
  store<f64>(normal, cross, SIZE << 3);
  store<f64>(normal, load<f64>(normal, (SIZE + 1) << 3) + certainty, (SIZE + 1) << 3);
  store<f64>(fit, load<f64>(fit) + pull * off);
  for (let i: usize = 4; held && i < SIZE; i++) {
    for (let j: usize = 0; j < SIZE; j++) {
      store<f64>(normal + ((i * SIZE + j) << 3), i == j ? 1 : 0);
      store<f64>(normal + ((j * SIZE + i) << 3), i == j ? 1 : 0);
    }
    store<f64>(gradient + (i << 3), 0);
  }
  return pull * off;
}

/** Solves (normal with its diagonal times 1 + lambda) step = gradient; false when that is not positive definite. */
function dampedStep(normal: usize, gradient: usize, lambda: f64, damped: usize, step: usize): bool {
  copy(damped, normal, SIZE * SIZE);
  for (let i: usize = 0; i < SIZE; i++) {
    const at = damped + ((i * SIZE + i) << 3);
    store<f64>(at, load<f64>(at) * (1 + lambda));
  }
  if (!factor7(damped)) return false;
  solve7(damped, gradient, step);
  return true;
}

/** params + step -> trial, shortened to keep the shape sane. False when there is no sane step. */
function takeStep(params: usize, step: usize, trial: usize): bool {
  let share: f64 = 1;
  const a = load<f64>(params, 32);
  const b = load<f64>(params, 40);
  const da = load<f64>(step, 32);
  const db = load<f64>(step, 40);
  // Neither curvature may fall below a third or rise above three times in one step, the centre moves a width at most.
  if (a + da < a / 3) share = min(share, -(2 * a) / (3 * da));
  if (b + db < b / 3) share = min(share, -(2 * b) / (3 * db));
  if (a + da > 3 * a) share = min(share, (2 * a) / da);
  if (b + db > 3 * b) share = min(share, (2 * b) / db);
  const reach = 1 / Math.sqrt(min(a, b));
  const shift = Math.sqrt(load<f64>(step, 16) * load<f64>(step, 16) + load<f64>(step, 24) * load<f64>(step, 24));
  if (shift > reach) share = min(share, reach / shift);
  if (!(share > 0)) return false;
  for (let tries = 0; tries < 6; tries++) {
    for (let i: usize = 0; i < SIZE; i++) {
      store<f64>(trial + (i << 3), load<f64>(params + (i << 3)) + share * load<f64>(step + (i << 3)));
    }
    const c = load<f64>(trial, 48);
    if (load<f64>(trial) > 0 && load<f64>(trial, 32) * load<f64>(trial, 40) > 1.02 * c * c) return true;
    share *= 0.5;
  }
  return false;
}

/** Brings the residuals from `params` to `trial` along the derivatives: for steps that are not worth another pass. */
function settle(list: usize, capacity: i32, count: i32, params: usize, trial: usize): void {
  const plane = (<usize>capacity) << 2;
  const end = list + ((<usize>count) << 2);
  const d0 = change(params, trial, 0);
  const d1 = change(params, trial, 1);
  const d2 = change(params, trial, 2);
  const d3 = change(params, trial, 3);
  const d4 = change(params, trial, 4);
  const d5 = change(params, trial, 5);
  const d6 = change(params, trial, 6);
  for (let at = list; at < end; at += 16) {
    let rest = f32x4.sub(v128.load(at + 4 * plane), d1);
    rest = f32x4.sub(rest, f32x4.mul(d0, v128.load(at + 5 * plane)));
    rest = f32x4.sub(rest, f32x4.mul(d2, v128.load(at + 6 * plane)));
    rest = f32x4.sub(rest, f32x4.mul(d3, v128.load(at + 7 * plane)));
    rest = f32x4.sub(rest, f32x4.mul(d4, v128.load(at + 8 * plane)));
    rest = f32x4.sub(rest, f32x4.mul(d5, v128.load(at + 9 * plane)));
    rest = f32x4.sub(rest, f32x4.mul(d6, v128.load(at + 10 * plane)));
    v128.store(at + 4 * plane, rest);
  }
}

// @ts-ignore: decorator
@inline
function change(from: usize, to: usize, parameter: usize): v128 {
  const at = parameter << 3;
  return heldF32(parameter, load<f64>(to + at) - load<f64>(from + at));
}

/** Fills `fit` from chi² and the weights that the last pass left; false when the centre lies outside the pixels. */
function judge(
  list: usize, capacity: i32, count: i32, chi2: f64, passes: i32, skyVariance: f64, params: usize, fit: usize,
): bool {
  const plane = (<usize>capacity) << 2;
  const end = list + ((<usize>count) << 2);
  const one = heldF32(0, 1);
  const zero = f32x4.splat(0);
  const sky = heldF32(1, skyVariance);
  let reachX = zero, reachY = zero, logs = zero, used = zero;
  // Weights over the sky's, at most 1: one logarithm for the product of four.
  let product = one;
  let factors = 0;
  for (let at = list; at < end; at += 16) {
    const weight = v128.load(at + 3 * plane);
    const usable = f32x4.gt(weight, zero);
    product = f32x4.mul(product, v128.bitselect(f32x4.mul(weight, sky), one, usable));
    if (++factors == 4) {
      logs = f32x4.sub(logs, log2x4(product));
      product = one;
      factors = 0;
    }
    used = f32x4.add(used, v128.and(one, usable));
    reachX = f32x4.pmax(reachX, f32x4.abs(v128.load(at)));
    reachY = f32x4.pmax(reachY, f32x4.abs(v128.load(at + plane)));
  }
  logs = f32x4.sub(logs, log2x4(product));
  const pixels = sumLanes(used);
  store<f64>(fit, chi2 / max(pixels - <f64>SIZE, 1));
  store<f64>(fit, chi2 + sumLanes(logs) * 0.6931471805599453 + pixels * Math.log(skyVariance), 8);
  store<f64>(fit, pixels, 16);
  store<f64>(fit, <f64>passes, 24);
  return Math.abs(load<f64>(params, 16)) <= largestLane(reachX) && Math.abs(load<f64>(params, 24)) <= largestLane(reachY);
}
