import { exp2x4, heldF32, log2x4, sumLanes } from './lanes';
import {
  beyond, CURVE_OF_TAIL, FALL_OF_TAIL, HALF_AT, heightOfTail, NODE_BYTES, oneAndKq, tailOf, traceOf, WING, WING_AT,
} from './profile';

// Normal equations of the profile fit, one pass over the pixels.

/** A pixel is taken at its middle where that errs by less than this share of its noise. */
const MIDDLE_ERROR: f64 = 0.005;
/** Parameters that a fit moves: A, B, x0, y0, a, b, c. */
export const SIZE: usize = 7;

/**
 * Normal matrix (49 f64) and gradient (7 f64) at `params`. Stores each pixel's weight (1/variance from the model, zero
 * stays zero) in the list's fourth array, its residual in the fifth and its derivatives by A, x0, y0, a, b, c in six
 * more; returns chi² with these weights; `fit` receives chi² with those of before.
 */
export function accumulate(
  list: usize, capacity: i32, count: i32, nodes: usize, nodeCount: i32, k: f64, skyVariance: f64, unitsPerElectron: f64,
  params: usize, normal: usize, gradient: usize, fit: usize,
): f64 {
  let chi2: f64;
  // One node and no wing is by far the commonest and needs no loop over nodes.
  const winged = load<f64>(params, WING_AT) > 0;
  if (nodeCount == 1) {
    if (!winged) chi2 = normalEquations<Yes, No>(list, capacity, count, nodes, nodeCount, k, skyVariance, unitsPerElectron, params, fit);
    else chi2 = normalEquations<Yes, Yes>(list, capacity, count, nodes, nodeCount, k, skyVariance, unitsPerElectron, params, fit);
  } else if (!winged) chi2 = normalEquations<No, No>(list, capacity, count, nodes, nodeCount, k, skyVariance, unitsPerElectron, params, fit);
  else chi2 = normalEquations<No, Yes>(list, capacity, count, nodes, nodeCount, k, skyVariance, unitsPerElectron, params, fit);
  sumProducts(list, (<usize>capacity) << 2, count, normal, gradient);
  return chi2;
}

/** What is known when compiling, as a type: a constant argument would be asked for at every pixel. */
type Yes = f32;
type No = i32;

/** Weights, residuals and derivatives; `Single`: one node, `Winged`: with a wing. A function each, so that none carries the others' values about. */
function normalEquations<Single, Winged>(
  list: usize, capacity: i32, count: i32, nodes: usize, nodeCount: i32, k: f64, skyVariance: f64, unitsPerElectron: f64,
  params: usize, fit: usize,
): f64 {
  const plane = (<usize>capacity) << 2;
  const wing = load<f64>(params, WING_AT);
  powers(list, plane, count, k, params);
  const amplitude = heldF32(0, load<f64>(params));
  const fallen = heldF32(21, -load<f64>(params));
  const base = heldF32(1, load<f64>(params, 8));
  const x0 = heldF32(2, load<f64>(params, 16));
  const y0 = heldF32(3, load<f64>(params, 24));
  const a2 = heldF32(4, -2 * load<f64>(params, 32));
  const b2 = heldF32(5, -2 * load<f64>(params, 40));
  const c2 = heldF32(6, -2 * load<f64>(params, 48));
  const ka = heldF32(7, k * load<f64>(params, 32));
  const kb = heldF32(8, k * load<f64>(params, 40));
  const kc = heldF32(9, 2 * k * load<f64>(params, 48));
  const power = heldF32(10, -1 / k);
  const core = heldF32(11, 1 - wing);
  const tail = heldF32(12, wing);
  const perKq = heldF32(13, WING / k);
  const fallFar = heldF32(14, FALL_OF_TAIL);
  const perK = heldF32(15, 1 / k);
  const bend = heldF32(16, (load<f64>(params, 32) + load<f64>(params, 40)) / 12);
  const sky = heldF32(17, skyVariance);
  const perElectron = heldF32(18, unitsPerElectron);
  const middleError = heldF32(19, MIDDLE_ERROR * MIDDLE_ERROR);
  const one = heldF32(20, 1);
  const half = heldF32(22, load<f64>(params, HALF_AT));
  const trace = heldF32(23, traceOf(params));
  const more = heldF32(24, 1 + k);
  const curveFar = heldF32(25, CURVE_OF_TAIL);
  const share24 = heldF32(26, 1 / 24.0);
  const nodesEnd = nodes + <usize>nodeCount * NODE_BYTES;
  const zero = f32x4.splat(0);
  let chi2 = zero, chi2Before = zero;

  for (let i = 0; i < count; i += 4) {
    const at = list + ((<usize>i) << 2);
    const dx = f32x4.sub(v128.load(at), x0);
    const dy = f32x4.sub(v128.load(at + plane), y0);
    // The profile and its derivatives at the pixel's middle.
    const t = v128.load(at + 10 * plane);
    let d0 = v128.load(at + 5 * plane); // dI/dA
    const perT = f32x4.div(one, t);
    let fall = f32x4.mul(d0, perT);
    let curve = f32x4.mul(f32x4.mul(more, fall), perT);
    if (isFloat<Winged>()) {
      const u = tailOf(t, perKq, one);
      const far = f32x4.mul(tail, heightOfTail(u));
      const farther = f32x4.mul(far, u);
      d0 = f32x4.add(f32x4.mul(core, d0), far);
      fall = f32x4.add(f32x4.mul(core, fall), f32x4.mul(fallFar, farther));
      curve = f32x4.add(f32x4.mul(core, curve), f32x4.mul(curveFar, f32x4.mul(farther, u)));
    }
    const slope = f32x4.mul(fallen, fall); // dI/dq
    const gx = f32x4.add(f32x4.mul(a2, dx), f32x4.mul(c2, dy)); // -dq/dx
    const gy = f32x4.add(f32x4.mul(c2, dx), f32x4.mul(b2, dy));
    const sx = f32x4.mul(slope, dx);
    const sy = f32x4.mul(slope, dy);
    let d2 = f32x4.mul(slope, gx);
    let d3 = f32x4.mul(slope, gy);
    let d4 = f32x4.mul(sx, dx);
    let d5 = f32x4.mul(sy, dy);
    let d6 = f32x4.mul(f32x4.add(sx, sx), dy);
    // The derivatives go without: they need not be exact to find the root.
    if (isFloat<Single>()) d0 = f32x4.add(d0, beyond(d0, fall, curve, gx, gy, half, trace, share24));
    // The mean over the pixel differs from its middle by a twenty-fourth of the Laplacian, I a (q - 1) / 6 t²: where that is
    // a small part of the noise the middle will do.
    if (!isFloat<Single>()) {
      const light = f32x4.mul(amplitude, d0);
      const q1 = f32x4.add(f32x4.mul(f32x4.sub(t, one), perK), one);
      const off = f32x4.div(f32x4.mul(f32x4.mul(light, bend), q1), f32x4.mul(t, t));
      const allowed = f32x4.mul(middleError, f32x4.add(sky, f32x4.mul(perElectron, light)));
      if (v128.any_true(f32x4.gt(f32x4.mul(off, off), allowed))) {
        d0 = zero;
        d4 = zero;
        d5 = zero;
        d6 = zero;
        let sumX = zero, sumY = zero;
        for (let node = nodes; node < nodesEnd; node += NODE_BYTES) {
          const nx = f32x4.add(dx, v128.load32_splat(node));
          const ny = f32x4.add(dy, v128.load32_splat(node, 4));
          const tn = oneAndKq(nx, ny, ka, kb, kc, one);
          let value = exp2x4(f32x4.mul(power, log2x4(tn)));
          let drop = f32x4.div(value, tn);
          if (isFloat<Winged>()) {
            const u = tailOf(tn, perKq, one);
            const far = f32x4.mul(tail, heightOfTail(u));
            value = f32x4.add(f32x4.mul(core, value), far);
            drop = f32x4.add(f32x4.mul(core, drop), f32x4.mul(fallFar, f32x4.mul(far, u)));
          }
          const share = v128.load32_splat(node, 8);
          value = f32x4.mul(share, value);
          const steep = f32x4.mul(fallen, f32x4.mul(share, drop));
          const tx = f32x4.mul(steep, nx);
          const ty = f32x4.mul(steep, ny);
          d0 = f32x4.add(d0, value);
          sumX = f32x4.add(sumX, tx);
          sumY = f32x4.add(sumY, ty);
          d4 = f32x4.add(d4, f32x4.mul(tx, nx));
          d5 = f32x4.add(d5, f32x4.mul(ty, ny));
          d6 = f32x4.add(d6, f32x4.mul(f32x4.add(tx, tx), ny));
        }
        d2 = f32x4.add(f32x4.mul(a2, sumX), f32x4.mul(c2, sumY));
        d3 = f32x4.add(f32x4.mul(b2, sumY), f32x4.mul(c2, sumX));
      }
    }
    const star = f32x4.mul(amplitude, d0);
    const residual = f32x4.sub(f32x4.sub(v128.load(at + 2 * plane), star), base);
    const variance = f32x4.add(sky, f32x4.mul(perElectron, star));
    const before = v128.load(at + 3 * plane);
    const w = v128.and(f32x4.div(one, variance), f32x4.gt(before, zero));
    v128.store(at + 3 * plane, w);
    v128.store(at + 4 * plane, residual);
    v128.store(at + 5 * plane, d0);
    v128.store(at + 6 * plane, d2);
    v128.store(at + 7 * plane, d3);
    v128.store(at + 8 * plane, d4);
    v128.store(at + 9 * plane, d5);
    v128.store(at + 10 * plane, d6);
    const squared = f32x4.mul(residual, residual);
    chi2 = f32x4.add(chi2, f32x4.mul(w, squared));
    chi2Before = f32x4.add(chi2Before, f32x4.mul(before, squared));
  }
  store<f64>(fit, sumLanes(chi2Before));
  return sumLanes(chi2);
}

/**
 * t into the list's last array and t^(-1/k) into that of the derivative by A: a loop of its own, because a processor that
 * waits for such a long chain of sums can begin the next pixels only if the loop is short.
 */
function powers(list: usize, plane: usize, count: i32, k: f64, params: usize): void {
  const x0 = heldF32(0, load<f64>(params, 16));
  const y0 = heldF32(1, load<f64>(params, 24));
  const ka = heldF32(2, k * load<f64>(params, 32));
  const kb = heldF32(3, k * load<f64>(params, 40));
  const kc = heldF32(4, 2 * k * load<f64>(params, 48));
  const power = heldF32(5, -1 / k);
  const one = heldF32(6, 1);
  const end = list + ((<usize>count) << 2);
  for (let at = list; at < end; at += 16) {
    const t = oneAndKq(f32x4.sub(v128.load(at), x0), f32x4.sub(v128.load(at + plane), y0), ka, kb, kc, one);
    v128.store(at + 10 * plane, t);
    v128.store(at + 5 * plane, exp2x4(f32x4.mul(power, log2x4(t))));
  }
}

/**
 * Normal matrix and gradient from the weights, residuals and derivatives in the list: a row or two at a time, no more
 * sums than there are registers.
 */
function sumProducts(list: usize, plane: usize, count: i32, normal: usize, gradient: usize): void {
  const end = list + ((<usize>count) << 2);
  const zero = f32x4.splat(0);
  let h00 = zero, h01 = zero, h02 = zero, h03 = zero, h04 = zero, h05 = zero, h06 = zero, g0 = zero;
  for (let at = list; at < end; at += 16) {
    const d0 = v128.load(at + 5 * plane);
    const w0 = f32x4.mul(v128.load(at + 3 * plane), d0);
    h00 = f32x4.add(h00, f32x4.mul(w0, d0));
    h01 = f32x4.add(h01, w0);
    h02 = f32x4.add(h02, f32x4.mul(w0, v128.load(at + 6 * plane)));
    h03 = f32x4.add(h03, f32x4.mul(w0, v128.load(at + 7 * plane)));
    h04 = f32x4.add(h04, f32x4.mul(w0, v128.load(at + 8 * plane)));
    h05 = f32x4.add(h05, f32x4.mul(w0, v128.load(at + 9 * plane)));
    h06 = f32x4.add(h06, f32x4.mul(w0, v128.load(at + 10 * plane)));
    g0 = f32x4.add(g0, f32x4.mul(w0, v128.load(at + 4 * plane)));
  }
  let h11 = zero, h12 = zero, h13 = zero, h14 = zero, h15 = zero, h16 = zero, g1 = zero;
  for (let at = list; at < end; at += 16) {
    const w = v128.load(at + 3 * plane);
    h11 = f32x4.add(h11, w);
    h12 = f32x4.add(h12, f32x4.mul(w, v128.load(at + 6 * plane)));
    h13 = f32x4.add(h13, f32x4.mul(w, v128.load(at + 7 * plane)));
    h14 = f32x4.add(h14, f32x4.mul(w, v128.load(at + 8 * plane)));
    h15 = f32x4.add(h15, f32x4.mul(w, v128.load(at + 9 * plane)));
    h16 = f32x4.add(h16, f32x4.mul(w, v128.load(at + 10 * plane)));
    g1 = f32x4.add(g1, f32x4.mul(w, v128.load(at + 4 * plane)));
  }
  let h22 = zero, h23 = zero, h24 = zero, h25 = zero, h26 = zero, g2 = zero;
  for (let at = list; at < end; at += 16) {
    const d2 = v128.load(at + 6 * plane);
    const w2 = f32x4.mul(v128.load(at + 3 * plane), d2);
    h22 = f32x4.add(h22, f32x4.mul(w2, d2));
    h23 = f32x4.add(h23, f32x4.mul(w2, v128.load(at + 7 * plane)));
    h24 = f32x4.add(h24, f32x4.mul(w2, v128.load(at + 8 * plane)));
    h25 = f32x4.add(h25, f32x4.mul(w2, v128.load(at + 9 * plane)));
    h26 = f32x4.add(h26, f32x4.mul(w2, v128.load(at + 10 * plane)));
    g2 = f32x4.add(g2, f32x4.mul(w2, v128.load(at + 4 * plane)));
  }
  let h33 = zero, h34 = zero, h35 = zero, h36 = zero, g3 = zero, h66 = zero, g6 = zero;
  for (let at = list; at < end; at += 16) {
    const w = v128.load(at + 3 * plane);
    const d3 = v128.load(at + 7 * plane);
    const d6 = v128.load(at + 10 * plane);
    const residual = v128.load(at + 4 * plane);
    const w3 = f32x4.mul(w, d3);
    const w6 = f32x4.mul(w, d6);
    h33 = f32x4.add(h33, f32x4.mul(w3, d3));
    h34 = f32x4.add(h34, f32x4.mul(w3, v128.load(at + 8 * plane)));
    h35 = f32x4.add(h35, f32x4.mul(w3, v128.load(at + 9 * plane)));
    h36 = f32x4.add(h36, f32x4.mul(w3, d6));
    g3 = f32x4.add(g3, f32x4.mul(w3, residual));
    h66 = f32x4.add(h66, f32x4.mul(w6, d6));
    g6 = f32x4.add(g6, f32x4.mul(w6, residual));
  }
  let h44 = zero, h45 = zero, h46 = zero, g4 = zero, h55 = zero, h56 = zero, g5 = zero;
  for (let at = list; at < end; at += 16) {
    const w = v128.load(at + 3 * plane);
    const d4 = v128.load(at + 8 * plane);
    const d5 = v128.load(at + 9 * plane);
    const d6 = v128.load(at + 10 * plane);
    const residual = v128.load(at + 4 * plane);
    const w4 = f32x4.mul(w, d4);
    const w5 = f32x4.mul(w, d5);
    h44 = f32x4.add(h44, f32x4.mul(w4, d4));
    h45 = f32x4.add(h45, f32x4.mul(w4, d5));
    h46 = f32x4.add(h46, f32x4.mul(w4, d6));
    g4 = f32x4.add(g4, f32x4.mul(w4, residual));
    h55 = f32x4.add(h55, f32x4.mul(w5, d5));
    h56 = f32x4.add(h56, f32x4.mul(w5, d6));
    g5 = f32x4.add(g5, f32x4.mul(w5, residual));
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
}

// @ts-ignore: decorator
@inline
function put(matrix: usize, row: usize, col: usize, lanes: v128): void {
  const value = sumLanes(lanes);
  store<f64>(matrix + ((row * SIZE + col) << 3), value);
  store<f64>(matrix + ((col * SIZE + row) << 3), value);
}
