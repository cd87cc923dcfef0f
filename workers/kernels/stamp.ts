import { hotReplacement } from './detect';

// The pixels around one star as a compact list, so that masks and mosaics cost nothing afterwards: five arrays of
// `capacity` f32 one behind the other: x and y from the stamp's middle pixel, value above the sky, weight, spare.

export const STAT_SATURATED: usize = 0; // pixels at the camera's limit
export const STAT_OUTSIDE: usize = 8; // pixels of the circle that fall outside the frame
export const STAT_MASKED: usize = 16; // pixels dropped as hot, without value, or a neighbour's
export const STAT_PEAK: usize = 24; // highest value above the sky

/**
 * Collects the pixels within `radius` of (cx, cy). Returns their number, a multiple of four (the last few may be
 * padding of weight zero); the weight of a real pixel is 1.
 * `neighbours`: neighbourCount triples f32 (dx, dy, r²), discs to leave out. `stats`: 4 f64, see STAT_*.
 */
export function gatherU16(
  pixels: usize, width: i32, height: i32, cx: i32, cy: i32, radius: f32, level: f32, sigma: f32, sites: i32,
  saturation: f32, neighbours: usize, neighbourCount: i32, list: usize, capacity: i32, stats: usize,
): i32 {
  return gather<u16>(pixels, width, height, cx, cy, radius, level, sigma, sites, saturation, neighbours, neighbourCount, list, capacity, stats);
}

export function gatherF32(
  pixels: usize, width: i32, height: i32, cx: i32, cy: i32, radius: f32, level: f32, sigma: f32, sites: i32,
  saturation: f32, neighbours: usize, neighbourCount: i32, list: usize, capacity: i32, stats: usize,
): i32 {
  return gather<f32>(pixels, width, height, cx, cy, radius, level, sigma, sites, saturation, neighbours, neighbourCount, list, capacity, stats);
}

// @ts-ignore: decorator
@inline
function gather<T>(
  pixels: usize, width: i32, height: i32, cx: i32, cy: i32, radius: f32, level: f32, sigma: f32, sites: i32,
  saturation: f32, neighbours: usize, neighbourCount: i32, list: usize, capacity: i32, stats: usize,
): i32 {
  const plane = (<usize>capacity) << 2;
  const half = <i32>radius;
  const limit = radius * radius;
  const hotLimit = <f32>8 * sigma;
  let count = 0;
  let saturated = 0;
  let outside = 0;
  let masked = 0;
  let peak: f32 = 0;
  for (let dy = -half; dy <= half; dy++) {
    const y = cy + dy;
    for (let dx = -half; dx <= half; dx++) {
      const x = cx + dx;
      if (<f32>(dx * dx + dy * dy) > limit) continue;
      if (((sites >> ((x & 1) | ((y & 1) << 1))) & 1) == 0) continue;
      if (x < 0 || x >= width || y < 0 || y >= height) {
        outside++;
        continue;
      }
      const stored = <f32>load<T>(pixels + (<usize>y * <usize>width + <usize>x) * sizeof<T>());
      const value = stored - level;
      let drop = value != value;
      for (let i = 0; i < neighbourCount && !drop; i++) {
        const triple = neighbours + <usize>i * 12;
        const nx = <f32>dx - load<f32>(triple);
        const ny = <f32>dy - load<f32>(triple, 4);
        drop = nx * nx + ny * ny < load<f32>(triple, 8);
      }
      if (!drop && stored >= saturation) {
        saturated++;
        continue;
      }
      if (!drop && value > hotLimit) {
        const repaired = hotReplacement<T>(pixels, width, height, x, y, level, sigma, sites);
        drop = repaired == repaired;
      }
      if (drop) {
        masked++;
        continue;
      }
      if (count == capacity - 4) continue;
      const at = list + ((<usize>count) << 2);
      store<f32>(at, <f32>dx);
      store<f32>(at + plane, <f32>dy);
      store<f32>(at + 2 * plane, value);
      store<f32>(at + 3 * plane, 1);
      peak = max(peak, value);
      count++;
    }
  }
  while ((count & 3) != 0) {
    const at = list + ((<usize>count) << 2);
    store<f32>(at, 0);
    store<f32>(at + plane, 0);
    store<f32>(at + 2 * plane, 0);
    store<f32>(at + 3 * plane, 0);
    count++;
  }
  store<f64>(stats + STAT_SATURATED, <f64>saturated);
  store<f64>(stats + STAT_OUTSIDE, <f64>outside);
  store<f64>(stats + STAT_MASKED, <f64>masked);
  store<f64>(stats + STAT_PEAK, <f64>peak);
  return count;
}

/**
 * Adaptive moments over a list: a Gaussian weight that follows the star. `state`: 5 f64 (x, y, xx, yy, xy), start in,
 * result out; the covariance is that of the matched weight, M = 2 <(x - <x>)(x - <x>)'>_w (handbook of shape
 * measurement: Bernstein & Jarvis 2002, AJ 123, 583). Returns the number of iterations, or -1 when it collapses or
 * runs away (per-axis width below 0.3 px, above `maxWidth`, or centre further than `maxShift` from the start).
 */
export function adaptiveMoments(
  list: usize, capacity: i32, count: i32, state: usize, iterations: i32, maxWidth: f64, maxShift: f64,
): i32 {
  const plane = (<usize>capacity) << 2;
  let x0 = load<f64>(state);
  let y0 = load<f64>(state, 8);
  const startX = x0;
  const startY = y0;
  let xx = load<f64>(state, 16);
  let yy = load<f64>(state, 24);
  let xy = load<f64>(state, 32);
  for (let round = 0; round < iterations; round++) {
    const det = xx * yy - xy * xy;
    if (!(det > 0.0081) || det > maxWidth * maxWidth * maxWidth * maxWidth) return -1;
    const ixx = <f32>(yy / det);
    const iyy = <f32>(xx / det);
    const ixy = <f32>(-xy / det);
    const fx0 = <f32>x0;
    const fy0 = <f32>y0;
    let sum: f64 = 0;
    let sx: f64 = 0;
    let sy: f64 = 0;
    let sxx: f64 = 0;
    let syy: f64 = 0;
    let sxy: f64 = 0;
    for (let i = 0; i < count; i++) {
      const at = list + ((<usize>i) << 2);
      const dx = load<f32>(at) - fx0;
      const dy = load<f32>(at + plane) - fy0;
      const q = ixx * dx * dx + 2 * ixy * dx * dy + iyy * dy * dy;
      if (q > 20) continue;
      const w = Mathf.exp(-0.5 * q) * load<f32>(at + 2 * plane) * load<f32>(at + 3 * plane);
      sum += w;
      sx += w * dx;
      sy += w * dy;
      sxx += w * dx * dx;
      syy += w * dy * dy;
      sxy += w * dx * dy;
    }
    if (!(sum > 0)) return -1;
    const mx = sx / sum;
    const my = sy / sum;
    const nextXX = 2 * (sxx / sum - mx * mx);
    const nextYY = 2 * (syy / sum - my * my);
    const nextXY = 2 * (sxy / sum - mx * my);
    const change = Math.abs(nextXX - xx) + Math.abs(nextYY - yy) + Math.abs(nextXY - xy);
    x0 += 2 * mx; // the weight pulls the mean half way back
    y0 += 2 * my;
    xx = nextXX;
    yy = nextYY;
    xy = nextXY;
    if (!(Math.abs(x0 - startX) < maxShift && Math.abs(y0 - startY) < maxShift)) return -1;
    if (change < 1e-3 * (xx + yy) && Math.abs(mx) + Math.abs(my) < 1e-3) {
      iterations = round + 1;
      break;
    }
  }
  if (!(xx * yy - xy * xy > 0.0081)) return -1;
  store<f64>(state, x0);
  store<f64>(state, y0, 8);
  store<f64>(state, xx, 16);
  store<f64>(state, yy, 24);
  store<f64>(state, xy, 32);
  return iterations;
}
