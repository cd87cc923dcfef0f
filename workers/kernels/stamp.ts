import { hotReplacement } from './hot';
import { exp2x4, heldF32, largestLane, sumLanes } from './lanes';

// The pixels around one star as a compact list, so that masks and mosaics cost nothing afterwards: five arrays of
// `capacity` f32 one behind the other: x and y from the stamp's middle pixel, value above the sky, weight, residual. The
// fit has six more behind them (normal.ts).

export const STAT_SATURATED: usize = 0; // pixels at the camera's limit
export const STAT_OUTSIDE: usize = 8; // pixels of the circle that fall outside the frame
export const STAT_MASKED: usize = 16; // pixels dropped as hot, without value, or a neighbour's
export const STAT_PEAK: usize = 24; // highest value above the sky

/** From q to the logarithm to base 2 of exp(-q / 2). */
const SCALE: f64 = -0.7213475204444817;

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
  touchRows(pixels, width * sizeof<T>(), height, (cx - half) * sizeof<T>(), (cx + half) * sizeof<T>(), cy - half, cy + half);
  const limit = radius * radius;
  const hotLimit = <f32>8 * sigma;
  let count = 0;
  let saturated = 0;
  let outside = 0;
  let masked = 0;
  let peak: f32 = 0;
  const levels = f32x4.splat(level);
  const tooHigh = f32x4.splat(min<f32>(hotLimit, saturation - level));
  let peaks = f32x4.splat(0);
  for (let dy = -half; dy <= half; dy++) {
    const y = cy + dy;
    const pair = (sites >> ((y & 1) << 1)) & 3;
    if (pair == 0) continue;
    // The circle's chord in this row, on the sites that count.
    let reach = <i32>Mathf.sqrt(limit - <f32>(dy * dy));
    if (<f32>(reach * reach + dy * dy) > limit) reach--;
    const step = pair == 3 ? 1 : 2;
    let first = cx - reach;
    if (pair != 3 && ((first & 1) == 0) == (pair == 2)) first++;
    const last = cx + reach;
    // Rows inside the frame go by four where nothing is odd about any of them; the load must stay within the frame.
    const whole = pair == 3 && y >= 0 && first >= 0 && last < width && y + (last + 4 > width ? 1 : 0) < height;
    let x = first;
    while (x <= last) {
      let stop = x + step;
      if (whole && count + 8 <= capacity) {
        const many = min(4, last - x + 1);
        const from = pixels + (<usize>y * <usize>width + <usize>x) * sizeof<T>();
        const stored = isFloat<T>() ? v128.load(from) : f32x4.convert_i32x4_s(v128.load16x4_u(from));
        const value = f32x4.sub(stored, levels);
        const dx = f32x4.add(f32x4.splat(<f32>(x - cx)), f32x4(0, 1, 2, 3));
        const inRow = i32x4.gt_s(i32x4.splat(many), i32x4(0, 1, 2, 3));
        // NaN is not below.
        let odd = v128.not(f32x4.lt(value, tooHigh));
        for (let i = 0; i < neighbourCount; i++) {
          const triple = neighbours + <usize>i * 12;
          const nx = f32x4.sub(dx, v128.load32_splat(triple));
          const ny = <f32>dy - load<f32>(triple, 4);
          odd = v128.or(odd, f32x4.lt(f32x4.add(f32x4.mul(nx, nx), f32x4.splat(ny * ny)), v128.load32_splat(triple, 8)));
        }
        if (!v128.any_true(v128.and(odd, inRow))) {
          // What is stored too much the next four overwrite.
          const at = list + ((<usize>count) << 2);
          v128.store(at, dx);
          v128.store(at + plane, f32x4.splat(<f32>dy));
          v128.store(at + 2 * plane, value);
          v128.store(at + 3 * plane, f32x4.splat(1));
          peaks = f32x4.pmax(peaks, v128.and(value, inRow));
          count += many;
          x += many;
          continue;
        }
        stop = x + many;
      }
      for (; x < stop; x += step) {
        if (x < 0 || x >= width || y < 0 || y >= height) {
          outside++;
          continue;
        }
        const stored = <f32>load<T>(pixels + (<usize>y * <usize>width + <usize>x) * sizeof<T>());
        const value = stored - level;
        const dx = x - cx;
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
  }
  peak = max(peak, <f32>largestLane(peaks));
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

const TOUCHED: usize = memory.data(4);

/**
 * Reads something of every row of a square: the memory brings all these rows in little more time than one, while the loop
 * over the pixels would wait for each of them.
 */
function touchRows(pixels: usize, rowBytes: i32, height: i32, left: i32, right: i32, top: i32, bottom: i32): void {
  const first = max(0, min(left, rowBytes - 1));
  const last = max(0, min(right, rowBytes - 1));
  let sum: u32 = 0;
  for (let y = max(0, top), end = min(bottom, height - 1); y <= end; y++) {
    const row = pixels + <usize>y * <usize>rowBytes;
    sum += <u32>load<u8>(row + first) + <u32>load<u8>(row + last);
  }
  store<u32>(TOUCHED, sum);
}

/**
 * Adaptive moments over a list: a Gaussian weight that follows the star. `state`: 5 f64 (x, y, xx, yy, xy), start in,
 * result out; the covariance is that of the matched weight, M = 2 <(x - <x>)(x - <x>)'>_w (handbook of shape
 * measurement: Bernstein & Jarvis 2002, AJ 123, 583). The first `fast` rounds may go the whole way at once, as a star near
 * a Gaussian allows; later ones go half of it, which settles for any light. Returns the number of iterations, or -1 when it collapses or
 * runs away (per-axis width below 0.3 px, above `maxWidth`, or centre further than `maxShift` from the start).
 */
export function adaptiveMoments(
  list: usize, capacity: i32, count: i32, state: usize, iterations: i32, fast: i32, maxWidth: f64, maxShift: f64,
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
    const ixx = heldF32(0, (yy / det) * SCALE);
    const iyy = heldF32(1, (xx / det) * SCALE);
    const ixy = heldF32(2, (-2 * xy / det) * SCALE);
    const fx0 = heldF32(3, x0);
    const fy0 = heldF32(4, y0);
    const edge = heldF32(5, 20 * SCALE);
    let lanes = f32x4.splat(0), lanesX = lanes, lanesY = lanes, lanesXX = lanes, lanesYY = lanes, lanesXY = lanes;
    for (let i = 0; i < count; i += 4) {
      const at = list + ((<usize>i) << 2);
      const dx = f32x4.sub(v128.load(at), fx0);
      const dy = f32x4.sub(v128.load(at + plane), fy0);
      const across = f32x4.add(f32x4.mul(ixx, dx), f32x4.mul(ixy, dy));
      const power = f32x4.add(f32x4.mul(across, dx), f32x4.mul(f32x4.mul(iyy, dy), dy)); // log2 of the weight
      const inside = f32x4.gt(power, edge);
      if (!v128.any_true(inside)) continue;
      const light = f32x4.mul(v128.load(at + 2 * plane), v128.load(at + 3 * plane));
      const w = v128.and(f32x4.mul(exp2x4(power), light), inside);
      const wx = f32x4.mul(w, dx);
      const wy = f32x4.mul(w, dy);
      lanes = f32x4.add(lanes, w);
      lanesX = f32x4.add(lanesX, wx);
      lanesY = f32x4.add(lanesY, wy);
      lanesXX = f32x4.add(lanesXX, f32x4.mul(wx, dx));
      lanesYY = f32x4.add(lanesYY, f32x4.mul(wy, dy));
      lanesXY = f32x4.add(lanesXY, f32x4.mul(wx, dy));
    }
    const sum = sumLanes(lanes);
    const sx = sumLanes(lanesX);
    const sy = sumLanes(lanesY);
    const sxx = sumLanes(lanesXX);
    const syy = sumLanes(lanesYY);
    const sxy = sumLanes(lanesXY);
    if (!(sum > 0)) return -1;
    const mx = sx / sum;
    const my = sy / sum;
    const nextXX = 2 * (sxx / sum - mx * mx);
    const nextYY = 2 * (syy / sum - my * my);
    const nextXY = 2 * (sxy / sum - mx * my);
    const change = Math.abs(nextXX - xx) + Math.abs(nextYY - yy) + Math.abs(nextXY - xy);
    // Were the star a Gaussian T, the weighted one would have 1/P = 1/T + 1/W, which gives T at once and its centre T/P of
    // the way; where that is nothing sensible the plain step goes half of it. Both rest at the same T = W = 2 P.
    const product = (nextXX * nextYY - nextXY * nextXY) / 4;
    const tyy = (0.5 * nextXX) / product - xx / det;
    const txx = (0.5 * nextYY) / product - yy / det;
    const txy = xy / det - (0.5 * nextXY) / product;
    const own = txx * tyy - txy * txy;
    const size = (txx + tyy) / own;
    if (round < fast && product > 0 && own > 0 && txx > 0 && size < 3 * (xx + yy) && 3 * size > xx + yy) {
      const px = (0.5 * nextYY * mx - 0.5 * nextXY * my) / product;
      const py = (0.5 * nextXX * my - 0.5 * nextXY * mx) / product;
      xx = tyy / own;
      yy = txx / own;
      xy = -txy / own;
      x0 += xx * px + xy * py;
      y0 += xy * px + yy * py;
    } else {
      x0 += 2 * mx; // the weight pulls the mean half way back
      y0 += 2 * my;
      xx = nextXX;
      yy = nextYY;
      xy = nextXY;
    }
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
