import { exp2x4, log2x4, sumLanes } from './lanes';
import { factor7, invert7, solve7 } from './cholesky7';

// Maximum-likelihood fit of one elliptical profile to a list of pixels (stamp.ts):
//   I = A t^(-1/k) + B,  t = 1 + k q,  q = a dx² + 2 c dx dy + b dy².
// That is Moffat's profile (1969, A&A 3, 455) with beta = 1/k, written so that k -> 0 is the Gaussian A exp(-q).
// A pixel's value is a weighted sum of I over `nodes` inside it: one node in its middle, where the profile describes
// the star as seen through the pixel, or a quadrature rule, where it describes the star before the pixel.

/** A node: offset x, y from the pixel's middle and weight, f32 each. */
export const NODE_BYTES: usize = 12;

/** Parameters: A, B, x0, y0, a, b, c. */
const SIZE: usize = 7;
const MAX_TRIES: i32 = 5;

export const FIT_OK: i32 = 0;
export const FIT_LOST: i32 = 1; // ran out of bounds
export const FIT_SLOW: i32 = 2; // iterations used up; the result may serve all the same

/**
 * Fisher scoring with Levenberg damping. `params`: 7 f64, start in, result out. `covariance`: 49 f64 out (row-major).
 * `fit`: 3 f64 out: chi² over degrees of freedom, deviance (chi² + sum of ln variance), pixels used.
 * Variance of a pixel = skyVariance + max(model - B, 0) * unitsPerElectron, from the model itself.
 * `work`: 49 + 49 + 21 f64. Returns FIT_OK, FIT_LOST or FIT_SLOW.
 */
export function fitProfile(
  list: usize, capacity: i32, count: i32, nodes: usize, nodeCount: i32, k: f64, skyVariance: f64, unitsPerElectron: f64,
  iterations: i32, params: usize, covariance: usize, fit: usize, work: usize,
): i32 {
  const normal = work;
  const damped = normal + 49 * 8;
  const gradient = damped + 49 * 8;
  const step = gradient + SIZE * 8;
  const trial = step + SIZE * 8;
  let lambda: f64 = 0;
  let status = FIT_SLOW;
  for (let round = 0; round < iterations; round++) {
    const chi2 = accumulate(list, capacity, count, nodes, nodeCount, k, skyVariance, unitsPerElectron, params, normal, gradient, fit);
    let moved = false;
    let decrement: f64 = 0;
    for (let attempt = 0; attempt < MAX_TRIES; attempt++) {
      for (let i: usize = 0; i < 49; i++) {
        const value = load<f64>(normal + (i << 3));
        store<f64>(damped + (i << 3), i % 8 == 0 ? value * (1 + lambda) : value);
      }
      if (!factor7(damped)) {
        lambda = max(lambda * 10, 1e-3);
        continue;
      }
      solve7(damped, gradient, step);
      decrement = 0;
      for (let i: usize = 0; i < SIZE; i++) decrement += load<f64>(step + (i << 3)) * load<f64>(gradient + (i << 3));
      const inside = takeStep(params, step, trial);
      // Deep inside the quadratic bowl the step needs no proof.
      if (inside && decrement < 1) moved = true;
      else if (inside) moved = chiSquare(list, capacity, count, nodes, nodeCount, k, trial) <= chi2;
      if (moved) {
        memory.copy(params, trial, SIZE << 3);
        lambda *= 0.1;
        if (lambda < 1e-6) lambda = 0;
        break;
      }
      lambda = max(lambda * 10, 1e-3);
    }
    if (!moved) {
      status = decrement < 1e-2 ? FIT_OK : FIT_LOST;
      break;
    }
    // A decrement of 1e-3 is a step of some hundredths of the standard error: the normal matrix in hand will do.
    if (decrement < 1e-3) {
      status = FIT_OK;
      break;
    }
  }
  if (status != FIT_OK) {
    accumulate(list, capacity, count, nodes, nodeCount, k, skyVariance, unitsPerElectron, params, normal, gradient, fit);
  }
  if (!factor7(normal)) return FIT_LOST;
  invert7(normal, covariance);
  return status;
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
  const shift = Math.hypot(load<f64>(step, 16), load<f64>(step, 24));
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

/** Sum of squared, weighted residuals with the weights as stored by the last `accumulate`. */
function chiSquare(list: usize, capacity: i32, count: i32, nodes: usize, nodeCount: i32, k: f64, params: usize): f64 {
  const plane = (<usize>capacity) << 2;
  let sum = f32x4.splat(0);
  subtractProfile(list, capacity, count, nodes, nodeCount, k, params);
  for (let i = 0; i < count; i += 4) {
    const at = list + ((<usize>i) << 2);
    const residual = v128.load(at + 4 * plane);
    sum = f32x4.add(sum, f32x4.mul(v128.load(at + 3 * plane), f32x4.mul(residual, residual)));
  }
  return sumLanes(sum);
}

/** Value minus profile into the list's fifth array. */
export function subtractProfile(
  list: usize, capacity: i32, count: i32, nodes: usize, nodeCount: i32, k: f64, params: usize,
): void {
  const plane = (<usize>capacity) << 2;
  const amplitude = f32x4.splat(<f32>load<f64>(params));
  const base = f32x4.splat(<f32>load<f64>(params, 8));
  const x0 = f32x4.splat(<f32>load<f64>(params, 16));
  const y0 = f32x4.splat(<f32>load<f64>(params, 24));
  const ka = f32x4.splat(<f32>(k * load<f64>(params, 32)));
  const kb = f32x4.splat(<f32>(k * load<f64>(params, 40)));
  const kc = f32x4.splat(<f32>(2 * k * load<f64>(params, 48)));
  const power = f32x4.splat(<f32>(-1 / k));
  const nodesEnd = nodes + <usize>nodeCount * NODE_BYTES;
  for (let i = 0; i < count; i += 4) {
    const at = list + ((<usize>i) << 2);
    const dx = f32x4.sub(v128.load(at), x0);
    const dy = f32x4.sub(v128.load(at + plane), y0);
    let share = f32x4.splat(0);
    for (let node = nodes; node < nodesEnd; node += NODE_BYTES) {
      const nx = f32x4.add(dx, v128.load32_splat(node));
      const ny = f32x4.add(dy, v128.load32_splat(node, 4));
      const value = exp2x4(f32x4.mul(power, log2x4(oneAndKq(nx, ny, ka, kb, kc))));
      share = f32x4.add(share, f32x4.mul(v128.load32_splat(node, 8), value));
    }
    const model = f32x4.add(f32x4.mul(amplitude, share), base);
    v128.store(at + 4 * plane, f32x4.sub(v128.load(at + 2 * plane), model));
  }
}

// @ts-ignore: decorator
@inline
function oneAndKq(dx: v128, dy: v128, ka: v128, kb: v128, kc: v128): v128 {
  const across = f32x4.add(f32x4.mul(ka, dx), f32x4.mul(kc, dy));
  return f32x4.add(f32x4.splat(1), f32x4.add(f32x4.mul(across, dx), f32x4.mul(f32x4.mul(kb, dy), dy)));
}

/**
 * Normal matrix (49 f64) and gradient (7 f64) at `params`; stores each pixel's weight (1/variance from the model, zero
 * stays zero) in the list's fourth array and returns chi².
 */
function accumulate(
  list: usize, capacity: i32, count: i32, nodes: usize, nodeCount: i32, k: f64, skyVariance: f64, unitsPerElectron: f64,
  params: usize, normal: usize, gradient: usize, fit: usize,
): f64 {
  const plane = (<usize>capacity) << 2;
  const amplitude = f32x4.splat(<f32>load<f64>(params));
  const base = f32x4.splat(<f32>load<f64>(params, 8));
  const x0 = f32x4.splat(<f32>load<f64>(params, 16));
  const y0 = f32x4.splat(<f32>load<f64>(params, 24));
  const a2 = f32x4.splat(<f32>(2 * load<f64>(params, 32)));
  const b2 = f32x4.splat(<f32>(2 * load<f64>(params, 40)));
  const c2 = f32x4.splat(<f32>(2 * load<f64>(params, 48)));
  const ka = f32x4.splat(<f32>(k * load<f64>(params, 32)));
  const kb = f32x4.splat(<f32>(k * load<f64>(params, 40)));
  const kc = f32x4.splat(<f32>(2 * k * load<f64>(params, 48)));
  const power = f32x4.splat(<f32>(-1 / k));
  const sky = f32x4.splat(<f32>skyVariance);
  const perElectron = f32x4.splat(<f32>unitsPerElectron);
  const nodesEnd = nodes + <usize>nodeCount * NODE_BYTES;
  const zero = f32x4.splat(0);
  const one = f32x4.splat(1);
  let h00 = zero, h01 = zero, h02 = zero, h03 = zero, h04 = zero, h05 = zero, h06 = zero;
  let h11 = zero, h12 = zero, h13 = zero, h14 = zero, h15 = zero, h16 = zero;
  let h22 = zero, h23 = zero, h24 = zero, h25 = zero, h26 = zero;
  let h33 = zero, h34 = zero, h35 = zero, h36 = zero;
  let h44 = zero, h45 = zero, h46 = zero, h55 = zero, h56 = zero, h66 = zero;
  let g0 = zero, g1 = zero, g2 = zero, g3 = zero, g4 = zero, g5 = zero, g6 = zero;
  let chi2 = zero, used = zero, logs = zero;

  for (let i = 0; i < count; i += 4) {
    const at = list + ((<usize>i) << 2);
    const dx = f32x4.sub(v128.load(at), x0);
    const dy = f32x4.sub(v128.load(at + plane), y0);
    // The pixel's share of the profile and its derivatives, summed over the nodes.
    let d0 = zero, d2 = zero, d3 = zero, d4 = zero, d5 = zero, d6 = zero;
    for (let node = nodes; node < nodesEnd; node += NODE_BYTES) {
      const nx = f32x4.add(dx, v128.load32_splat(node));
      const ny = f32x4.add(dy, v128.load32_splat(node, 4));
      const t = oneAndKq(nx, ny, ka, kb, kc);
      const value = f32x4.mul(v128.load32_splat(node, 8), exp2x4(f32x4.mul(power, log2x4(t)))); // dI/dA
      const slope = f32x4.neg(f32x4.div(f32x4.mul(amplitude, value), t)); // dI/dq
      const sx = f32x4.mul(slope, nx);
      const sy = f32x4.mul(slope, ny);
      d0 = f32x4.add(d0, value);
      d2 = f32x4.sub(d2, f32x4.add(f32x4.mul(a2, sx), f32x4.mul(c2, sy)));
      d3 = f32x4.sub(d3, f32x4.add(f32x4.mul(b2, sy), f32x4.mul(c2, sx)));
      d4 = f32x4.add(d4, f32x4.mul(sx, nx));
      d5 = f32x4.add(d5, f32x4.mul(sy, ny));
      d6 = f32x4.add(d6, f32x4.mul(f32x4.add(sx, sx), ny));
    }
    const star = f32x4.mul(amplitude, d0);
    const residual = f32x4.sub(f32x4.sub(v128.load(at + 2 * plane), star), base);
    const variance = f32x4.add(sky, f32x4.mul(perElectron, star));
    const usable = f32x4.gt(v128.load(at + 3 * plane), zero);
    const w = v128.and(f32x4.div(one, variance), usable);
    v128.store(at + 3 * plane, w);

    const w0 = f32x4.mul(w, d0);
    const w2 = f32x4.mul(w, d2);
    const w3 = f32x4.mul(w, d3);
    const w4 = f32x4.mul(w, d4);
    const w5 = f32x4.mul(w, d5);
    const w6 = f32x4.mul(w, d6);
    h00 = f32x4.add(h00, f32x4.mul(w0, d0));
    h01 = f32x4.add(h01, w0);
    h02 = f32x4.add(h02, f32x4.mul(w0, d2));
    h03 = f32x4.add(h03, f32x4.mul(w0, d3));
    h04 = f32x4.add(h04, f32x4.mul(w0, d4));
    h05 = f32x4.add(h05, f32x4.mul(w0, d5));
    h06 = f32x4.add(h06, f32x4.mul(w0, d6));
    h11 = f32x4.add(h11, w);
    h12 = f32x4.add(h12, w2);
    h13 = f32x4.add(h13, w3);
    h14 = f32x4.add(h14, w4);
    h15 = f32x4.add(h15, w5);
    h16 = f32x4.add(h16, w6);
    h22 = f32x4.add(h22, f32x4.mul(w2, d2));
    h23 = f32x4.add(h23, f32x4.mul(w2, d3));
    h24 = f32x4.add(h24, f32x4.mul(w2, d4));
    h25 = f32x4.add(h25, f32x4.mul(w2, d5));
    h26 = f32x4.add(h26, f32x4.mul(w2, d6));
    h33 = f32x4.add(h33, f32x4.mul(w3, d3));
    h34 = f32x4.add(h34, f32x4.mul(w3, d4));
    h35 = f32x4.add(h35, f32x4.mul(w3, d5));
    h36 = f32x4.add(h36, f32x4.mul(w3, d6));
    h44 = f32x4.add(h44, f32x4.mul(w4, d4));
    h45 = f32x4.add(h45, f32x4.mul(w4, d5));
    h46 = f32x4.add(h46, f32x4.mul(w4, d6));
    h55 = f32x4.add(h55, f32x4.mul(w5, d5));
    h56 = f32x4.add(h56, f32x4.mul(w5, d6));
    h66 = f32x4.add(h66, f32x4.mul(w6, d6));
    const wr = f32x4.mul(w, residual);
    g0 = f32x4.add(g0, f32x4.mul(wr, d0));
    g1 = f32x4.add(g1, wr);
    g2 = f32x4.add(g2, f32x4.mul(wr, d2));
    g3 = f32x4.add(g3, f32x4.mul(wr, d3));
    g4 = f32x4.add(g4, f32x4.mul(wr, d4));
    g5 = f32x4.add(g5, f32x4.mul(wr, d5));
    g6 = f32x4.add(g6, f32x4.mul(wr, d6));
    chi2 = f32x4.add(chi2, f32x4.mul(wr, residual));
    used = f32x4.add(used, v128.and(one, usable));
    logs = f32x4.add(logs, v128.and(log2x4(variance), usable));
  }

  put(normal, 0, 0, h00); put(normal, 0, 1, h01); put(normal, 0, 2, h02); put(normal, 0, 3, h03);
  put(normal, 0, 4, h04); put(normal, 0, 5, h05); put(normal, 0, 6, h06);
  put(normal, 1, 1, h11); put(normal, 1, 2, h12); put(normal, 1, 3, h13); put(normal, 1, 4, h14);
  put(normal, 1, 5, h15); put(normal, 1, 6, h16);
  put(normal, 2, 2, h22); put(normal, 2, 3, h23); put(normal, 2, 4, h24); put(normal, 2, 5, h25);
  put(normal, 2, 6, h26);
  put(normal, 3, 3, h33); put(normal, 3, 4, h34); put(normal, 3, 5, h35); put(normal, 3, 6, h36);
  put(normal, 4, 4, h44); put(normal, 4, 5, h45); put(normal, 4, 6, h46);
  put(normal, 5, 5, h55); put(normal, 5, 6, h56); put(normal, 6, 6, h66);
  store<f64>(gradient, sumLanes(g0));
  store<f64>(gradient, sumLanes(g1), 8);
  store<f64>(gradient, sumLanes(g2), 16);
  store<f64>(gradient, sumLanes(g3), 24);
  store<f64>(gradient, sumLanes(g4), 32);
  store<f64>(gradient, sumLanes(g5), 40);
  store<f64>(gradient, sumLanes(g6), 48);
  const total = sumLanes(chi2);
  const pixels = sumLanes(used);
  store<f64>(fit, total / max(pixels - <f64>SIZE, 1));
  store<f64>(fit, total + sumLanes(logs) * 0.6931471805599453, 8);
  store<f64>(fit, pixels, 16);
  return total;
}

// @ts-ignore: decorator
@inline
function put(matrix: usize, row: usize, col: usize, lanes: v128): void {
  const value = sumLanes(lanes);
  store<f64>(matrix + ((row * SIZE + col) << 3), value);
  store<f64>(matrix + ((col * SIZE + row) << 3), value);
}
