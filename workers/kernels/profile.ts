import { exp2x4, heldF32, log2x4, sumLanes } from './lanes';

// One elliptical profile:
//   I = A t^(-1/k) + B,  t = 1 + k q,  q = a dx² + 2 c dx dy + b dy².
// That is Moffat's profile (1969, A&A 3, 455) with beta = 1/k, written so that k -> 0 is the Gaussian A exp(-q).
// A pixel's value is a weighted sum of I over `nodes` inside it: one node in its middle, where the profile describes
// the star as seen through the pixel, or a quadrature rule, where it describes the star before the pixel.
// A share w of the light's height may be a wider wing of beta 2, I = A ((1 - w) t^(-1/k) + w u²) + B with
// u = 1 / (1 + WING q): the air's far wings fall with about the fourth power of the distance whatever the core does.
// Parameters are eight f64: A, B, x0, y0, a, b, c, and w, which no fit moves.

/**
 * Curvature of the wing in q: the value that, with k and w at their best, comes closest to the long-exposure profile of
 * turbulence (Fried 1966, J. Opt. Soc. Am. 56, 1372) out to four widths. A flat optimum.
 */
export const WING: f64 = 0.3;
export const WING_AT: usize = 56;

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
      if (wing > 0) {
        const u = tailOf(t, perKq, one);
        value = f32x4.add(f32x4.mul(core, value), f32x4.mul(tail, f32x4.mul(u, u)));
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
 * Light of the profile alone inside a circle of radius r about its centre. Along each direction the integral over the
 * radius is closed, A (1 - t^(1 - 1/k)) / (1 - k) / 2q and for the wing A (1 - u) / WING / 2q; over the angle a rule of 12 points errs by
 * ((1 - r) / (1 + r))^12 for an axis ratio r.
 */
export function lightWithin(params: usize, k: f64, r: f64): f64 {
  if (load<f64>(params) == 0) return 0;
  const mean = f32x4.splat(<f32>(0.5 * (load<f64>(params, 32) + load<f64>(params, 40))));
  const across = f32x4.splat(<f32>(0.5 * (load<f64>(params, 32) - load<f64>(params, 40))));
  const skew = f32x4.splat(<f32>load<f64>(params, 48));
  const power = f32x4.splat(<f32>(1 - 1 / k));
  const r2 = f32x4.splat(<f32>(r * r));
  const vk = f32x4.splat(<f32>k);
  const wing = load<f64>(params, WING_AT);
  const core = f32x4.splat(<f32>((1 - wing) / (1 - k)));
  const tail = f32x4.splat(<f32>wing);
  // q along the angles 7.5, 22.5 ... 172.5 degrees is mean + across cos + skew sin of twice the angle.
  const sums = f32x4.add(
    f32x4.add(
      outwards(mean, across, skew, power, vk, r2, core, tail, f32x4(0.9659258, 0.7071068, 0.2588190, -0.2588190), f32x4(0.2588190, 0.7071068, 0.9659258, 0.9659258)),
      outwards(mean, across, skew, power, vk, r2, core, tail, f32x4(-0.7071068, -0.9659258, -0.9659258, -0.7071068), f32x4(0.7071068, 0.2588190, -0.2588190, -0.7071068)),
    ),
    outwards(mean, across, skew, power, vk, r2, core, tail, f32x4(-0.2588190, 0.2588190, 0.7071068, 0.9659258), f32x4(-0.9659258, -0.9659258, -0.7071068, -0.2588190)),
  );
  return (load<f64>(params) * Math.PI * sumLanes(sums)) / 12;
}

// @ts-ignore: decorator
@inline
function outwards(
  mean: v128, across: v128, skew: v128, power: v128, k: v128, r2: v128, core: v128, tail: v128, cos: v128, sin: v128,
): v128 {
  const q = f32x4.add(mean, f32x4.add(f32x4.mul(across, cos), f32x4.mul(skew, sin)));
  const one = f32x4.splat(1);
  const edge = f32x4.mul(r2, q);
  const t = f32x4.add(one, f32x4.mul(k, edge));
  const inCore = f32x4.div(f32x4.sub(one, exp2x4(f32x4.mul(power, log2x4(t)))), q);
  // (1 - u) / WING / q = r² u.
  const inTail = f32x4.div(r2, f32x4.add(one, f32x4.mul(f32x4.splat(<f32>WING), edge)));
  return f32x4.add(f32x4.mul(core, inCore), f32x4.mul(tail, inTail));
}
