import { lightWithin, subtractProfile } from './profile';

// What the fitted profile leaves over, collected in rings and as third moments.

/**
 * Residuals of a list against a profile (profile.ts; amplitude 0 for none), into rings of width 1/ringsPerPx about the profile's
 * centre: `sums` receives the sum of the residuals and `counts` the number of pixels of each of
 * `rings` f64; `data` the sum of the values above the base. `moments`: 6 f64 out: the residual's Gaussian-weighted
 * dipole x, y; <|z|² z> (x, y) and <z³> (x, y), not normalised, about the profile's centre. The weight has the
 * covariance (wxx, wyy, wxy).
 */
export function residualRings(
  list: usize, capacity: i32, count: i32, nodes: usize, nodeCount: i32, k: f64, params: usize, ringsPerPx: f64, rings: i32,
  wxx: f64, wyy: f64, wxy: f64, sums: usize, counts: usize, data: usize, moments: usize,
): void {
  const plane = (<usize>capacity) << 2;
  memory.fill(sums, 0, rings << 3);
  memory.fill(counts, 0, rings << 3);
  memory.fill(data, 0, rings << 3);
  subtractProfile(list, capacity, count, nodes, nodeCount, k, params);
  const base = load<f64>(params, 8);
  const x0 = load<f64>(params, 16);
  const y0 = load<f64>(params, 24);
  const det = wxx * wyy - wxy * wxy;
  const ixx = wyy / det;
  const iyy = wxx / det;
  const ixy = -wxy / det;
  let dipoleX: f64 = 0, dipoleY: f64 = 0;
  let cometX: f64 = 0, cometY: f64 = 0, cloverX: f64 = 0, cloverY: f64 = 0;
  for (let i = 0; i < count; i++) {
    const at = list + ((<usize>i) << 2);
    if (load<f32>(at + 3 * plane) == 0) continue;
    const residual = <f64>load<f32>(at + 4 * plane);
    const dx = <f64>load<f32>(at) - x0;
    const dy = <f64>load<f32>(at + plane) - y0;
    const r2 = dx * dx + dy * dy;
    const ring = <i32>(Math.sqrt(r2) * ringsPerPx);
    if (ring < rings) {
      const slot = (<usize>ring) << 3;
      store<f64>(sums + slot, load<f64>(sums + slot) + residual);
      store<f64>(counts + slot, load<f64>(counts + slot) + 1);
      store<f64>(data + slot, load<f64>(data + slot) + <f64>load<f32>(at + 2 * plane) - base);
    }
    const q = ixx * dx * dx + 2 * ixy * dx * dy + iyy * dy * dy;
    if (q > 20) continue;
    const w = residual * <f64>Mathf.exp(<f32>(-0.5 * q));
    dipoleX += w * dx;
    dipoleY += w * dy;
    cometX += w * r2 * dx;
    cometY += w * r2 * dy;
    cloverX += w * dx * (dx * dx - 3 * dy * dy);
    cloverY += w * dy * (3 * dx * dx - dy * dy);
  }
  store<f64>(moments, dipoleX);
  store<f64>(moments, dipoleY, 8);
  store<f64>(moments, cometX, 16);
  store<f64>(moments, cometY, 24);
  store<f64>(moments, cloverX, 32);
  store<f64>(moments, cloverY, 40);
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
