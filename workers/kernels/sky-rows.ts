import { held, heldF32 } from './lanes';

// A row of the frame in units of its noise above the sky, as detection takes it.

/** A pixel is hot when it stands this many sigmas out ... */
const HOT_SIGMAS: f32 = 8;
/** ... and both rings of four neighbours stay below this share of it (a star of 1.2 px FWHM still has 0.1). */
const HOT_SHARE: f32 = 0.05;

/**
 * Sky level and 1/noise of row y, linear between the mesh nodes; weights are zero where the site does not count. Three
 * rows of f32, each with room for three more than `width`.
 */
export function skyRows(
  levels: usize, sigmas: usize, cols: i32, rows: i32, width: i32, height: i32, y: i32, sites: i32,
  sky: usize, weightEven: usize, weightOdd: usize,
): void {
  let fy = ((<f32>y + 0.5) * <f32>rows) / <f32>height - 0.5;
  fy = max<f32>(0, min<f32>(fy, <f32>(rows - 1)));
  const j = min(<i32>fy, max(rows - 2, 0));
  const v = fy - <f32>j;
  const upper = (<usize>(j * cols)) << 2;
  const lower = (<usize>(min(j + 1, rows - 1) * cols)) << 2;
  const nodesPerPx = <f32>cols / <f32>width;
  const lastCell = max(cols - 2, 0);
  const one = heldF32(0, 1);
  const least = heldF32(1, 1e-20);
  const even = held(2, siteLanes(sites & 3));
  const odd = held(3, siteLanes((sites >> 2) & 3));
  const scale = heldF32(8, nodesPerPx);
  const middles = held(9, f32x4(0.5, 1.5, 2.5, 3.5));
  const half = heldF32(10, 0.5);
  const last = heldF32(11, cols - 1);
  let x = 0;
  while (x < width) {
    const place = max<f32>(0, (<f32>x + 0.5) * nodesPerPx - 0.5);
    const i = min(<i32>place, lastCell);
    // Vectors that begin at `stop` or beyond reach past the next node.
    const stop = i == lastCell ? width : min(width, <i32>(Mathf.floor((<f32>i + 1.5) / nodesPerPx - 0.5)) - 2);
    const level0 = held(4, meshNode(levels, upper, lower, cols, i, v));
    const level1 = held(5, f32x4.sub(meshNode(levels, upper, lower, cols, i + 1, v), level0));
    const sigma0 = held(6, meshNode(sigmas, upper, lower, cols, i, v));
    const sigma1 = held(7, f32x4.sub(meshNode(sigmas, upper, lower, cols, i + 1, v), sigma0));
    const start = heldF32(12, i);
    for (; x < stop; x += 4) {
      const u = f32x4.sub(placesFrom(x, middles, scale, half, last), start);
      const level = f32x4.add(level0, f32x4.mul(u, level1));
      const sigma = f32x4.add(sigma0, f32x4.mul(u, sigma1));
      const inverse = f32x4.div(one, f32x4.pmax(least, sigma));
      const at = (<usize>x) << 2;
      v128.store(sky + at, level);
      v128.store(weightEven + at, v128.and(inverse, even));
      v128.store(weightOdd + at, v128.and(inverse, odd));
    }
    if (x >= width) return;
    // Nodes are far wider than four pixels: at most one of them lies between the lanes.
    const u = f32x4.sub(placesFrom(x, middles, scale, half, last), start);
    const beyond = f32x4.gt(u, one);
    const w = f32x4.sub(u, one);
    const level2 = meshNode(levels, upper, lower, cols, i + 1, v);
    const sigma2 = meshNode(sigmas, upper, lower, cols, i + 1, v);
    const level3 = f32x4.sub(meshNode(levels, upper, lower, cols, i + 2, v), level2);
    const sigma3 = f32x4.sub(meshNode(sigmas, upper, lower, cols, i + 2, v), sigma2);
    const level = v128.bitselect(f32x4.add(level2, f32x4.mul(w, level3)), f32x4.add(level0, f32x4.mul(u, level1)), beyond);
    const sigma = v128.bitselect(f32x4.add(sigma2, f32x4.mul(w, sigma3)), f32x4.add(sigma0, f32x4.mul(u, sigma1)), beyond);
    const inverse = f32x4.div(one, f32x4.pmax(least, sigma));
    const at = (<usize>x) << 2;
    v128.store(sky + at, level);
    v128.store(weightEven + at, v128.and(inverse, even));
    v128.store(weightOdd + at, v128.and(inverse, odd));
    x += 4;
  }
}

/** Places of four pixels from x in nodes of the mesh, level beyond the outermost; `middles`: 0.5 to 3.5. */
// @ts-ignore: decorator
@inline
function placesFrom(x: i32, middles: v128, nodesPerPx: v128, half: v128, last: v128): v128 {
  const places = f32x4.sub(f32x4.mul(f32x4.add(f32x4.splat(<f32>x), middles), nodesPerPx), half);
  return f32x4.pmax(f32x4.splat(0), f32x4.pmin(places, last));
}

/** The mesh on a row at its node i, the last one for all beyond. */
// @ts-ignore: decorator
@inline
function meshNode(mesh: usize, upper: usize, lower: usize, cols: i32, i: i32, v: f32): v128 {
  const at = (<usize>min(i, cols - 1)) << 2;
  const u: f32 = 1 - v;
  return f32x4.splat(u * load<f32>(mesh + upper + at) + v * load<f32>(mesh + lower + at));
}

/** Lanes of four pixels from an even x, all bits set where a row's site counts. */
// @ts-ignore: decorator
@inline
function siteLanes(pair: i32): v128 {
  const first = -(pair & 1);
  const second = -((pair >> 1) & 1);
  return i32x4.replace_lane(i32x4.replace_lane(i32x4.splat(first), 1, second), 3, second);
}

/** One row in units of the noise; hot pixels are replaced by their neighbours, NaN by the sky. */
export function subtractSky<T>(
  pixels: usize, width: i32, height: i32, y: i32, sky: usize, weight: usize, sites: i32, out: usize,
): void {
  const row = pixels + <usize>y * <usize>width * sizeof<T>();
  const limit = heldF32(0, HOT_SIGMAS);
  let x = 0;
  for (; x + 8 <= width; x += 8) {
    const at = (<usize>x) << 2;
    let left: v128, right: v128;
    if (isFloat<T>()) {
      left = v128.load(row + at);
      right = v128.load(row + at, 16);
      // NaN as the sky itself.
      left = v128.bitselect(left, v128.load(sky + at), f32x4.eq(left, left));
      right = v128.bitselect(right, v128.load(sky + at, 16), f32x4.eq(right, right));
    } else {
      const raw = v128.load(row + (at >> 1));
      left = f32x4.convert_i32x4_s(i32x4.extend_low_i16x8_u(raw));
      right = f32x4.convert_i32x4_s(i32x4.extend_high_i16x8_u(raw));
    }
    left = f32x4.mul(f32x4.sub(left, v128.load(sky + at)), v128.load(weight + at));
    right = f32x4.mul(f32x4.sub(right, v128.load(sky + at, 16)), v128.load(weight + at, 16));
    v128.store(out + at, left);
    v128.store(out + at, right, 16);
    if (v128.any_true(f32x4.gt(f32x4.pmax(left, right), limit))) {
      let high = i32x4.bitmask(f32x4.gt(left, limit)) | (i32x4.bitmask(f32x4.gt(right, limit)) << 4);
      for (; high != 0; high &= high - 1) repairHot<T>(pixels, width, height, x + ctz(high), y, sky, weight, sites, out);
    }
  }
  for (; x < width; x++) {
    const at = (<usize>x) << 2;
    const raw = <f32>load<T>(row + <usize>x * sizeof<T>());
    const value = (raw - load<f32>(sky + at)) * load<f32>(weight + at);
    store<f32>(out + at, value == value ? value : 0);
    repairHot<T>(pixels, width, height, x, y, sky, weight, sites, out);
  }
}

function repairHot<T>(
  pixels: usize, width: i32, height: i32, x: i32, y: i32, sky: usize, weight: usize, sites: i32, out: usize,
): void {
  const at = (<usize>x) << 2;
  const value = load<f32>(out + at);
  if (value <= HOT_SIGMAS) return;
  const level = load<f32>(sky + at);
  const inverse = load<f32>(weight + at);
  const replacement = hotReplacement<T>(pixels, width, height, x, y, level, 1 / inverse, sites);
  if (replacement == replacement) store<f32>(out + at, (replacement - level) * inverse);
}

/**
 * The value to put in place of a hot pixel, or NaN when the pixel is not hot. Compared are the four nearest pixels of
 * the same sites and the four next: across and diagonal on a monochrome sensor, diagonal and two steps off on the
 * greens of a mosaic, two steps across and diagonal on its reds and blues.
 */
// @ts-ignore: decorator
@inline
export function hotReplacement<T>(
  pixels: usize, width: i32, height: i32, x: i32, y: i32, level: f32, sigma: f32, sites: i32,
): f32 {
  const value = <f32>load<T>(pixels + (<usize>y * <usize>width + <usize>x) * sizeof<T>()) - level;
  const green = sites == 6 || sites == 9;
  const single = sites != 15 && !green;
  const reach = single ? 2 : 1;
  const cap = HOT_SHARE * value + sigma;
  // Stars are told by the first ring already.
  const straight = ringMean<T>(pixels, width, height, x, y, green ? 2 : reach, 0) - level;
  if (!(straight < cap)) return f32.NaN;
  const diagonal = ringMean<T>(pixels, width, height, x, y, reach, reach) - level;
  return diagonal < cap ? level + (green ? diagonal : straight) : f32.NaN;
}

/** Mean of the four pixels at (dx, dy) turned by quarter turns, inside the frame. */
// @ts-ignore: decorator
@inline
function ringMean<T>(pixels: usize, width: i32, height: i32, x: i32, y: i32, dx: i32, dy: i32): f32 {
  if (x >= 2 && y >= 2 && x + 2 < width && y + 2 < height) {
    const all = at<T>(pixels, width, x + dx, y + dy) + at<T>(pixels, width, x - dy, y + dx)
      + at<T>(pixels, width, x - dx, y - dy) + at<T>(pixels, width, x + dy, y - dx);
    if (all == all) return <f32>0.25 * all;
  }
  let sum: f32 = 0;
  let count: f32 = 0;
  for (let turn = 0; turn < 4; turn++) {
    const px = x + dx;
    const py = y + dy;
    if (px >= 0 && px < width && py >= 0 && py < height) {
      const value = <f32>load<T>(pixels + (<usize>py * <usize>width + <usize>px) * sizeof<T>());
      if (value == value) {
        sum += value;
        count += 1;
      }
    }
    const swap = dx;
    dx = -dy;
    dy = swap;
  }
  return sum / max<f32>(count, 1);
}

// @ts-ignore: decorator
@inline
function at<T>(pixels: usize, width: i32, x: i32, y: i32): f32 {
  return <f32>load<T>(pixels + (<usize>y * <usize>width + <usize>x) * sizeof<T>());
}
