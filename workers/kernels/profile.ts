import { again, exp2x4, heldF32, log2x4, sumLanes } from './lanes';

// One elliptical profile:
//   I = A t^(-1/k) + B,  t = 1 + k q,  q = a dx² + 2 c dx dy + b dy².
// That is Moffat's profile (1969, A&A 3, 455) with beta = 1/k, written so that k -> 0 is the Gaussian A exp(-q).
// A pixel's value is a weighted sum of I over `nodes` inside it: one node in its middle, where the profile describes
// the star as seen through the pixel, or a quadrature rule, where it describes the star before the pixel.
// A share w of the light's height may be a wider wing of beta 2.5, I = A ((1 - w) t^(-1/k) + w u^2.5) + B with
// u = 1 / (1 + WING q): the air's wings fall with a power of the distance whatever the core does.
// Where the profile describes the star as seen through the pixel, the pixel's mean is not its middle quite: see `beyond`.
// Parameters are nine f64: A, B, x0, y0, a, b, c, and w and h (ln 2 over q at half height), which no fit moves.

/**
 * Curvature of the wing in q: with its exponent the value that, k and w at their best, comes closest to the long-exposure
 * profile of turbulence (Fried 1966, J. Opt. Soc. Am. 56, 1372) out to six widths: within 0.3 % of the height. A flat optimum.
 */
export const WING: f64 = 0.25;
export const WING_AT: usize = 56;
export const HALF_AT: usize = 64;

/** A node: offset x, y from the pixel's middle and weight, f32 each. */
export const NODE_BYTES: usize = 12;

/** Value minus profile into the list's fifth array. */
export function subtractProfile(
  list: usize, capacity: i32, count: i32, nodes: usize, nodeCount: i32, k: f64, params: usize,
): void {
  const plane = (<usize>capacity) << 2;
  if (load<f64>(params) == 0) return subtractBase(list, plane, count, load<f64>(params, 8));
  const wing = load<f64>(params, WING_AT);
  const amplitude = heldF32(0, load<f64>(params));
  const base = heldF32(1, load<f64>(params, 8));
  const x0 = heldF32(2, load<f64>(params, 16));
  const y0 = heldF32(3, load<f64>(params, 24));
  const ka = heldF32(4, k * load<f64>(params, 32));
  const kb = heldF32(5, k * load<f64>(params, 40));
  const kc = heldF32(6, 2 * k * load<f64>(params, 48));
  const power = heldF32(7, -1 / k);
  const core = heldF32(8, 1 - wing);
  const tail = heldF32(9, wing);
  const perKq = heldF32(10, WING / k);
  const one = heldF32(11, 1);
  const a2 = heldF32(12, 2 * load<f64>(params, 32));
  const b2 = heldF32(13, 2 * load<f64>(params, 40));
  const c2 = heldF32(14, 2 * load<f64>(params, 48));
  const half = heldF32(15, load<f64>(params, HALF_AT));
  const trace = heldF32(16, traceOf(params));
  const more = heldF32(17, 1 + k);
  const fallen = heldF32(18, FALL_OF_TAIL);
  const curved = heldF32(19, CURVE_OF_TAIL);
  const share24 = heldF32(20, 1 / 24.0);
  const seen = nodeCount == 1;
  const nodesEnd = nodes + <usize>nodeCount * NODE_BYTES;
  for (let i = 0; i < count; i += 4) {
    const at = list + ((<usize>i) << 2);
    const dx = f32x4.sub(v128.load(at), x0);
    const dy = f32x4.sub(v128.load(at + plane), y0);
    let share = f32x4.splat(0);
    for (let node = nodes; node < nodesEnd; node += NODE_BYTES) {
      const nx = f32x4.add(dx, v128.load32_splat(node));
      const ny = f32x4.add(dy, v128.load32_splat(node, 4));
      const t = oneAndKq(nx, ny, ka, kb, kc, one);
      let value = exp2x4(f32x4.mul(power, log2x4(t)));
      const perT = f32x4.div(one, t);
      let fall = f32x4.mul(value, perT);
      let curve = f32x4.mul(f32x4.mul(more, fall), perT);
      if (wing > 0) {
        const u = tailOf(t, perKq, one);
        const far = f32x4.mul(tail, heightOfTail(u));
        const farther = f32x4.mul(far, u);
        value = f32x4.add(f32x4.mul(core, value), far);
        fall = f32x4.add(f32x4.mul(core, fall), f32x4.mul(fallen, farther));
        curve = f32x4.add(f32x4.mul(core, curve), f32x4.mul(curved, f32x4.mul(farther, u)));
      }
      if (seen) {
        const gx = f32x4.add(f32x4.mul(a2, nx), f32x4.mul(c2, ny));
        const gy = f32x4.add(f32x4.mul(c2, nx), f32x4.mul(b2, ny));
        value = f32x4.add(value, beyond(value, fall, curve, gx, gy, half, trace, share24));
      }
      share = f32x4.add(share, f32x4.mul(v128.load32_splat(node, 8), value));
    }
    const model = f32x4.add(f32x4.mul(amplitude, share), base);
    v128.store(at + 4 * plane, f32x4.sub(v128.load(at + 2 * plane), model));
  }
}

/** ... of a profile without light. */
function subtractBase(list: usize, plane: usize, count: i32, base: f64): void {
  const level = heldF32(0, base);
  const end = list + ((<usize>count) << 2);
  for (let at = list; at < end; at += 16) v128.store(at + 4 * plane, f32x4.sub(v128.load(at + 2 * plane), level));
}

/**
 * What a pixel holds beyond the profile's value in its middle, of height 1, where the profile is the one seen through the
 * pixel: the Gaussian of the same half-height contour with 1/12 px² more along each axis. A Gaussian widens so under the
 * pixel and keeps its form, and nothing is left; wings widen less than the core. To the second order of the pixel's side,
 *   mean over the pixel = I + (f'' |grad q|² + 2 f' tr K) / 24, f = I / A, K = [a c; c b],
 *   widened profile     = I - f' |grad q|² h / 24 - f tr K h / 12, h = ln 2 / q at half height,
 * and this is the difference. `fall` = -f', `curve` = f'', (gx, gy) = grad q up to its sign, `trace` = tr K / 12,
 * `share24` = 1/24. Its integral is zero.
 */
// @ts-ignore: decorator
@inline
export function beyond(value: v128, fall: v128, curve: v128, gx: v128, gy: v128, half: v128, trace: v128, share24: v128): v128 {
  const slope2 = f32x4.mul(f32x4.add(f32x4.mul(gx, gx), f32x4.mul(gy, gy)), share24);
  const across = f32x4.mul(slope2, f32x4.sub(curve, f32x4.mul(half, fall)));
  return f32x4.add(across, f32x4.mul(trace, f32x4.sub(f32x4.mul(half, value), fall)));
}

// @ts-ignore: decorator
@inline
export function traceOf(params: usize): f64 {
  return (load<f64>(params, 32) + load<f64>(params, 40)) / 12;
}

/** Of the wing w u^2.5: -d/dq over w u^3.5, and its second derivative over w u^4.5. */
export const FALL_OF_TAIL: f64 = 2.5 * WING;
export const CURVE_OF_TAIL: f64 = 8.75 * WING * WING;

/** u^2.5. */
// @ts-ignore: decorator
@inline
export function heightOfTail(u: v128): v128 {
  return f32x4.mul(f32x4.mul(u, u), f32x4.sqrt(u));
}

/** u = 1 / (1 + WING q) from t = 1 + k q and WING / k. */
// @ts-ignore: decorator
@inline
export function tailOf(t: v128, perKq: v128, one: v128): v128 {
  return f32x4.div(one, f32x4.add(one, f32x4.mul(perKq, f32x4.sub(t, one))));
}

/** t of four pixels, with k a, k b and 2 k c. */
// @ts-ignore: decorator
@inline
export function oneAndKq(dx: v128, dy: v128, ka: v128, kb: v128, kc: v128, one: v128): v128 {
  const across = f32x4.add(f32x4.mul(ka, dx), f32x4.mul(kc, dy));
  return f32x4.add(one, f32x4.add(f32x4.mul(across, dx), f32x4.mul(f32x4.mul(kb, dy), dy)));
}

/**
 * Light inside a circle of radius r about the centre of the profile as seen through the pixel. Along each direction the
 * integral over the radius is closed, A (1 - t^(1 - 1/k)) / (1 - k) / 2q and for the wing A (1 - u^1.5) / 1.5 WING / 2q; so is
 * that of `beyond`: of the Laplacian it is the slope at the edge, of the widened profile
 *   h / 12 ((|K n|² / q²) (F - q f) - (tr K / 2q) F), F = integral of f over q, n the direction, here at r = 1.
 * Over the angle a rule of 12 points errs by ((1 - r) / (1 + r))^12 for an axis ratio r.
 */
export function lightWithin(params: usize, k: f64, r: f64): f64 {
  if (load<f64>(params) == 0) return 0;
  const half = 0.5 * (load<f64>(params, 32) + load<f64>(params, 40));
  const apart = 0.5 * (load<f64>(params, 32) - load<f64>(params, 40));
  const turned = load<f64>(params, 48);
  const wing = load<f64>(params, WING_AT);
  heldF32(MEAN, half);
  heldF32(ACROSS, apart);
  heldF32(SKEW, turned);
  heldF32(DET, half * half - apart * apart - turned * turned);
  heldF32(POWER, 1 - 1 / k);
  heldF32(R2, r * r);
  heldF32(K, k);
  heldF32(CORE, 1 - wing);
  heldF32(IN_CORE, (1 - wing) / (1 - k));
  heldF32(TAIL, wing);
  heldF32(IN_TAIL, wing / (1.5 * WING));
  heldF32(H, load<f64>(params, HALF_AT));
  // q along the angles 7.5, 22.5 ... 172.5 degrees is mean + across cos + skew sin of twice the angle.
  const sums = f32x4.add(
    f32x4.add(
      outwards(f32x4(0.9659258, 0.7071068, 0.2588190, -0.2588190), f32x4(0.2588190, 0.7071068, 0.9659258, 0.9659258)),
      outwards(f32x4(-0.7071068, -0.9659258, -0.9659258, -0.7071068), f32x4(0.7071068, 0.2588190, -0.2588190, -0.7071068)),
    ),
    outwards(f32x4(-0.2588190, 0.2588190, 0.7071068, 0.9659258), f32x4(-0.9659258, -0.9659258, -0.7071068, -0.2588190)),
  );
  return (load<f64>(params) * Math.PI * sumLanes(sums)) / 12;
}

/** Where lightWithin leaves what `outwards` reads. */
const MEAN: usize = 0, ACROSS: usize = 1, SKEW: usize = 2, DET: usize = 3, POWER: usize = 4, R2: usize = 5, K: usize = 6;
const CORE: usize = 7, IN_CORE: usize = 8, TAIL: usize = 9, IN_TAIL: usize = 10, H: usize = 11;

function outwards(cos: v128, sin: v128): v128 {
  const mean = again(MEAN);
  const q = f32x4.add(mean, f32x4.add(f32x4.mul(again(ACROSS), cos), f32x4.mul(again(SKEW), sin)));
  const one = f32x4.splat(1);
  const edge = f32x4.mul(again(R2), q);
  const t = f32x4.add(one, f32x4.mul(again(K), edge));
  const rest = exp2x4(f32x4.mul(again(POWER), log2x4(t)));
  const u = f32x4.div(one, f32x4.add(one, f32x4.mul(f32x4.splat(<f32>WING), edge)));
  const root = f32x4.sqrt(u);
  const inCore = f32x4.mul(again(IN_CORE), f32x4.sub(one, rest));
  const inTail = f32x4.mul(again(IN_TAIL), f32x4.sub(one, f32x4.mul(u, root)));
  const light = f32x4.add(inCore, inTail);
  // The height and its fall at the edge.
  const core = f32x4.div(f32x4.mul(again(CORE), rest), t);
  const tail = f32x4.mul(again(TAIL), f32x4.mul(f32x4.mul(u, u), root));
  const height = f32x4.add(core, tail);
  const fall = f32x4.add(f32x4.div(core, t), f32x4.mul(f32x4.splat(<f32>FALL_OF_TAIL), f32x4.mul(tail, u)));
  const perQ = f32x4.div(one, q);
  const across = f32x4.mul(perQ, f32x4.sub(f32x4.add(mean, mean), f32x4.mul(again(DET), perQ)));
  const widened = f32x4.sub(
    f32x4.mul(across, f32x4.sub(light, f32x4.mul(edge, height))),
    f32x4.mul(f32x4.mul(mean, perQ), light),
  );
  const more = f32x4.add(f32x4.mul(edge, fall), f32x4.mul(again(H), widened));
  return f32x4.sub(f32x4.mul(light, perQ), f32x4.mul(f32x4.splat(1 / 6.0), more));
}
