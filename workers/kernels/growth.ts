import { exp2x4, held, heldF32, sumLanes } from './lanes';
import { lightWithin } from './profile';

// What the fitted profile leaves over, collected in rings and as third moments.

/** From q to the logarithm to base 2 of exp(-q / 2). */
const HALF_LOG2: f64 = -0.7213475204444817;

/** Most rings that are asked for, see workspace.ts, and one for what lies in none. */
const RINGS: usize = memory.data(129 * 32, 16);

/** Adds a residual with its value, and one to the number of pixels, to a ring. */
// @ts-ignore: decorator
@inline
function addTo(ring: i32, pair: v128): void {
  const at = RINGS + (<usize>ring << 5);
  v128.store(at, f64x2.add(v128.load(at), pair));
  store<f64>(at, load<f64>(at, 16) + 1, 16);
}

/**
 * The residuals that a fit or subtractProfile left in a list, into rings of width 1/ringsPerPx about the profile's
 * centre: `sums` receives the sum of the residuals and `counts` the number of pixels of each of
 * `rings` f64; `data` the sum of the values above the base. `moments`: 8 f64 out: the residual's Gaussian-weighted
 * dipole x, y; <|z|² z> (x, y) and <z³> (x, y), not normalised, about the profile's centre; then the residual's plain
 * dipole x, y. The weight has the covariance (wxx, wyy, wxy).
 */
export function residualRings(
  list: usize, capacity: i32, count: i32, params: usize, ringsPerPx: f64, rings: i32,
  wxx: f64, wyy: f64, wxy: f64, sums: usize, counts: usize, data: usize, moments: usize,
): void {
  const plane = (<usize>capacity) << 2;
  memory.fill(RINGS, 0, (<usize>rings + 1) << 5);
  const det = wxx * wyy - wxy * wxy;
  // The weight as a power of two.
  const ixx = heldF32(0, (HALF_LOG2 * wyy) / det);
  const iyy = heldF32(1, (HALF_LOG2 * wxx) / det);
  const ixy = heldF32(2, (-2 * HALF_LOG2 * wxy) / det);
  const x0 = heldF32(3, load<f64>(params, 16));
  const y0 = heldF32(4, load<f64>(params, 24));
  const three = heldF32(5, 3);
  const edge = heldF32(6, 20 * HALF_LOG2);
  const perPx = heldF32(7, ringsPerPx);
  const beyond = held(8, i32x4.splat(rings));
  const base = heldF32(9, load<f64>(params, 8));
  const zero = f32x4.splat(0);
  let plainX = zero, plainY = zero, dipoleX = zero, dipoleY = zero, cometX = zero, cometY = zero, cloverX = zero, cloverY = zero;
  for (let i = 0; i < count; i += 4) {
    const at = list + ((<usize>i) << 2);
    const dx = f32x4.sub(v128.load(at), x0);
    const dy = f32x4.sub(v128.load(at + plane), y0);
    const xx = f32x4.mul(dx, dx);
    const yy = f32x4.mul(dy, dy);
    const r2 = f32x4.add(xx, yy);
    const residual = v128.load(at + 4 * plane);
    const counted = f32x4.gt(v128.load(at + 3 * plane), zero);
    // What lies beyond the rings or does not count goes to one ring more.
    const own = i32x4.trunc_sat_f32x4_s(f32x4.mul(f32x4.sqrt(r2), perPx));
    const ring = v128.bitselect(i32x4.min_s(own, beyond), beyond, counted);
    const above = f32x4.sub(v128.load(at + 2 * plane), base);
    const seen = v128.and(residual, v128.and(counted, i32x4.lt_s(own, beyond)));
    plainX = f32x4.add(plainX, f32x4.mul(seen, dx));
    plainY = f32x4.add(plainY, f32x4.mul(seen, dy));
    const low = v128.shuffle<i32>(residual, above, 0, 4, 1, 5);
    const high = v128.shuffle<i32>(residual, above, 2, 6, 3, 7);
    addTo(i32x4.extract_lane(ring, 0), f64x2.promote_low_f32x4(low));
    addTo(i32x4.extract_lane(ring, 1), f64x2.promote_low_f32x4(v128.shuffle<i64>(low, low, 1, 1)));
    addTo(i32x4.extract_lane(ring, 2), f64x2.promote_low_f32x4(high));
    addTo(i32x4.extract_lane(ring, 3), f64x2.promote_low_f32x4(v128.shuffle<i64>(high, high, 1, 1)));

    const across = f32x4.add(f32x4.mul(ixx, dx), f32x4.mul(ixy, dy));
    const power = f32x4.add(f32x4.mul(across, dx), f32x4.mul(iyy, yy));
    const inside = v128.and(f32x4.gt(power, edge), counted);
    if (!v128.any_true(inside)) continue;
    const w = v128.and(f32x4.mul(exp2x4(power), residual), inside);
    const wx = f32x4.mul(w, dx);
    const wy = f32x4.mul(w, dy);
    dipoleX = f32x4.add(dipoleX, wx);
    dipoleY = f32x4.add(dipoleY, wy);
    cometX = f32x4.add(cometX, f32x4.mul(wx, r2));
    cometY = f32x4.add(cometY, f32x4.mul(wy, r2));
    cloverX = f32x4.add(cloverX, f32x4.mul(wx, f32x4.sub(xx, f32x4.mul(three, yy))));
    cloverY = f32x4.add(cloverY, f32x4.mul(wy, f32x4.sub(f32x4.mul(three, xx), yy)));
  }
  for (let ring: usize = 0; ring < <usize>rings; ring++) {
    const at = ring << 3;
    store<f64>(sums + at, load<f64>(RINGS + (ring << 5)));
    store<f64>(data + at, load<f64>(RINGS + (ring << 5), 8));
    store<f64>(counts + at, load<f64>(RINGS + (ring << 5), 16));
  }
  store<f64>(moments, sumLanes(dipoleX));
  store<f64>(moments, sumLanes(dipoleY), 8);
  store<f64>(moments, sumLanes(cometX), 16);
  store<f64>(moments, sumLanes(cometY), 24);
  store<f64>(moments, sumLanes(cloverX), 32);
  store<f64>(moments, sumLanes(cloverY), 40);
  store<f64>(moments, sumLanes(plainX), 48);
  store<f64>(moments, sumLanes(plainY), 56);
}

/** Rounds of false position inside one ring: each leaves a tenth or less. */
const ROUNDS: i32 = 5;

/**
 * Radius that holds `half` of a star's light: the profile's, closed, plus `inside`, rings + 1 f64 of residual light
 * within each ring's edge, plus `haloLight` times the `haloCount` cumulated shares f64 of `halo` (growth.ts of the host).
 * Between edges residuals grow with the area and the halo with the radius. At most `rings` / ringsPerPx.
 */
export function halfLightRadius(
  params: usize, k: f64, inside: usize, rings: i32, ringsPerPx: f64, halo: usize, haloCount: i32, haloLight: f64, half: f64,
): f64 {
  // First guess: half of the round profile's own light, (1 + k q r²)^(1 - 1/k) = 1/2.
  const det = load<f64>(params, 32) * load<f64>(params, 40) - load<f64>(params, 48) * load<f64>(params, 48);
  const guess = load<f64>(params) > 0 ? Math.sqrt((Math.pow(2, k / (1 - k)) - 1) / k / Math.sqrt(det)) : 0;
  let ring = max(1, min(rings, <i32>(guess * ringsPerPx)));
  let outer = lightAt(params, k, inside, rings, ringsPerPx, halo, haloCount, haloLight, ring);
  while (outer < half && ring < rings) {
    ring++;
    outer = lightAt(params, k, inside, rings, ringsPerPx, halo, haloCount, haloLight, ring);
  }
  let inner = lightAt(params, k, inside, rings, ringsPerPx, halo, haloCount, haloLight, ring - 1);
  while (inner >= half && ring > 1) {
    ring--;
    outer = inner;
    inner = lightAt(params, k, inside, rings, ringsPerPx, halo, haloCount, haloLight, ring - 1);
  }
  if (!(outer > half)) return <f64>ring / ringsPerPx;
  // Illinois' rule: an end that stays is halved, so that both ends close in.
  let a = <f64>(ring - 1);
  let b = <f64>ring;
  let fa = inner - half;
  let fb = outer - half;
  let at = b;
  for (let round = 0; round < ROUNDS; round++) {
    at = (a * fb - b * fa) / (fb - fa);
    const f = lightAt(params, k, inside, rings, ringsPerPx, halo, haloCount, haloLight, at) - half;
    if (f * fb < 0) {
      a = b;
      fa = fb;
    } else {
      fa *= 0.5;
    }
    b = at;
    fb = f;
    if (f == 0) break;
  }
  return at / ringsPerPx;
}

/** Light within `place` ring widths of the centre. */
function lightAt(
  params: usize, k: f64, inside: usize, rings: i32, ringsPerPx: f64, halo: usize, haloCount: i32, haloLight: f64, place: f64,
): f64 {
  const ring = min(<i32>place, rings - 1);
  const inner = <f64>ring;
  const below = load<f64>(inside + ((<usize>ring) << 3));
  const above = load<f64>(inside + ((<usize>(ring + 1)) << 3));
  const residual = below + ((place * place - inner * inner) / (2 * inner + 1)) * (above - below);
  let share: f64 = 0;
  if (haloCount > 0) {
    const slot = min(<i32>place, haloCount - 1);
    const end = load<f64>(halo + ((<usize>slot) << 3));
    const start = slot == 0 ? 0 : load<f64>(halo + ((<usize>(slot - 1)) << 3));
    share = start + min(1, place - <f64>slot) * (end - start);
  }
  return lightWithin(params, k, place / ringsPerPx) + residual + haloLight * share;
}
