import { BATCH, sixDown } from './binomial';
import { held, heldF32 } from './lanes';

// Rows of the frame in units of their noise above the sky, as detection takes them.

/** A pixel is hot when it stands this many sigmas out ... */
const HOT_SIGMAS: f32 = 8;
/** ... and both rings of four neighbours stay below this share of it (a star of 1.2 px FWHM still has 0.1). */
const HOT_SHARE: f32 = 0.05;

/** Sky and noise vary slowly: their rows are renewed only so often. */
export const SKY_ROWS: i32 = 4;
/** Columns, a multiple of four, whose sky is laid out at a time, so that it is still in the cache when it is taken off. */
export const TILE_PX: i32 = 512;
/** Between rows of the sky, in bytes: a tile and room for three more. */
const SKY_STRIDE: usize = (<usize>(TILE_PX + 4)) << 2;
/** Sky, weights of even rows and of odd rows, for the first SKY_ROWS rows of a batch and for the others. */
const SKY: usize = memory.data(6 * (TILE_PX + 4) * 4, 16);

/** Lays out the sky of a batch of rows that begins at y0, from column x0 to x1 (exclusive), see `skyRows`. */
export function laySky(
  levels: usize, sigmas: usize, cols: i32, rows: i32, width: i32, height: i32, x0: i32, x1: i32, y0: i32, sites: i32,
): void {
  let row = SKY - ((<usize>x0) << 2);
  for (let y = y0; y < y0 + BATCH; y += SKY_ROWS, row += 3 * SKY_STRIDE) {
    skyRows(levels, sigmas, cols, rows, width, height, x0, x1, y + SKY_ROWS / 2, sites, row, row + SKY_STRIDE, row + 2 * SKY_STRIDE);
  }
}

/**
 * Sky level and 1/noise of row y, linear between the mesh nodes; weights are zero where the site does not count. Three
 * rows of f32, written from x0 to x1 (exclusive) and up to three beyond.
 */
function skyRows(
  levels: usize, sigmas: usize, cols: i32, rows: i32, width: i32, height: i32, x0: i32, x1: i32, y: i32, sites: i32,
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
  let x = x0;
  while (x < x1) {
    const place = max<f32>(0, (<f32>x + 0.5) * nodesPerPx - 0.5);
    const i = min(<i32>place, lastCell);
    // Vectors that begin at `stop` or beyond reach past the next node.
    const stop = i == lastCell ? x1 : min(x1, <i32>(Mathf.floor((<f32>i + 1.5) / nodesPerPx - 0.5)) - 2);
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
    if (x >= x1) return;
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

/**
 * Pixels x0 to x1 (exclusive) of a row, of a tile whose sky is laid out from `tileX` on, in units of the noise; hot
 * pixels are replaced by their neighbours, NaN by the sky.
 */
export function subtractSky<T>(
  pixels: usize, width: i32, height: i32, x0: i32, x1: i32, y: i32, tileX: i32, sites: i32, out: usize,
): void {
  const row = pixels + <usize>y * <usize>width * sizeof<T>();
  const sky = SKY + ((y & (BATCH - 1)) < SKY_ROWS ? 0 : 3 * SKY_STRIDE) - ((<usize>tileX) << 2);
  const weight = sky + ((y & 1) == 0 ? SKY_STRIDE : 2 * SKY_STRIDE);
  const limit = heldF32(0, HOT_SIGMAS);
  let x = x0;
  for (; x + 4 <= x1; x += 4) {
    const at = (<usize>x) << 2;
    const value = inNoise<T>(row + <usize>x * sizeof<T>(), v128.load(sky + at), v128.load(weight + at));
    v128.store(out + at, value);
    for (let high = i32x4.bitmask(f32x4.gt(value, limit)); high != 0; high &= high - 1) {
      repairHot<T>(pixels, width, height, x + ctz(high), y, sky, weight, sites, out);
    }
  }
  for (; x < x1; x++) {
    const at = (<usize>x) << 2;
    const raw = <f32>load<T>(row + <usize>x * sizeof<T>());
    const value = (raw - load<f32>(sky + at)) * load<f32>(weight + at);
    store<f32>(out + at, value == value ? value : 0);
    repairHot<T>(pixels, width, height, x, y, sky, weight, sites, out);
  }
}

/** Four pixels above the sky in units of the noise; NaN as the sky itself. */
// @ts-ignore: decorator
@inline
function inNoise<T>(at: usize, sky: v128, weight: v128): v128 {
  if (isFloat<T>()) {
    const raw = v128.load(at);
    return f32x4.mul(f32x4.sub(v128.bitselect(raw, sky, f32x4.eq(raw, raw)), sky), weight);
  }
  return f32x4.mul(f32x4.sub(f32x4.convert_i32x4_s(v128.load16x4_u(at)), sky), weight);
}

/** Four columns of a batch in which something is hot, or which the frame does not fill. */
const BLOCK: usize = memory.data(16 * BATCH, 16);

/**
 * BATCH rows from y0 of a tile whose sky is laid out, in units of the noise, convolved down their columns by the first
 * six of the binomial on the way, see `downColumns`: what a column needs is read once and never waits in memory. Rows
 * beyond the frame are sky.
 */
export function skyDownSix<T>(
  pixels: usize, width: i32, height: i32, x0: i32, x1: i32, y0: i32, sites: i32, rows: usize, stride: usize, kept: usize, limit: f32, blocks: usize,
): i32 {
  const whole = y0 + BATCH <= height ? x1 & ~3 : 0;
  const pixelRow = <usize>width * sizeof<T>();
  let found = 0;
  for (let x = x0; x < x1; x += 4) {
    const column = (<usize>x) << 2;
    const waiting = kept + <usize>x * 24;
    if (x < whole) {
      const sky = SKY + ((<usize>(x - x0)) << 2);
      let s0 = v128.load(waiting);
      let s1 = v128.load(waiting, 16);
      let s2 = v128.load(waiting, 32);
      let s3 = v128.load(waiting, 48);
      let s4 = v128.load(waiting, 64);
      let s5 = v128.load(waiting, 80);
      let hottest = f32x4.splat(0);
      let most = f32x4.splat(0);
      let from = pixels + (<usize>y0 * <usize>width + <usize>x) * sizeof<T>();
      let to = rows + column;
      for (let r = 0; r < BATCH; r += 2) {
        const level = sky + (r < SKY_ROWS ? 0 : 3 * SKY_STRIDE);
        const t0 = inNoise<T>(from, v128.load(level), v128.load(level, SKY_STRIDE));
        const t1 = f32x4.add(s0, t0);
        const t2 = f32x4.add(s1, t1);
        const t3 = f32x4.add(s2, t2);
        const t4 = f32x4.add(s3, t3);
        const t5 = f32x4.add(s4, t4);
        const t6 = f32x4.add(s5, t5);
        v128.store(to, t6);
        s0 = inNoise<T>(from + pixelRow, v128.load(level), v128.load(level, 2 * SKY_STRIDE));
        s1 = f32x4.add(t0, s0);
        s2 = f32x4.add(t1, s1);
        s3 = f32x4.add(t2, s2);
        s4 = f32x4.add(t3, s3);
        s5 = f32x4.add(t4, s4);
        const s6 = f32x4.add(t5, s5);
        v128.store(to + stride, s6);
        hottest = f32x4.pmax(hottest, f32x4.pmax(t0, s0));
        most = f32x4.pmax(most, f32x4.pmax(t6, s6));
        from += 2 * pixelRow;
        to += 2 * stride;
      }
      if (!v128.any_true(f32x4.gt(hottest, f32x4.splat(HOT_SIGMAS)))) {
        v128.store(waiting, s0);
        v128.store(waiting, s1, 16);
        v128.store(waiting, s2, 32);
        v128.store(waiting, s3, 48);
        v128.store(waiting, s4, 64);
        v128.store(waiting, s5, 80);
        // Listed without a branch, which nobody could foretell.
        store<i32>(blocks + ((<usize>found) << 2), x);
        found += i32(v128.any_true(f32x4.gt(most, f32x4.splat(limit))));
        continue;
      }
    }
    memory.fill(BLOCK, 0, 16 * BATCH);
    for (let r = 0, last = min(BATCH, height - y0); r < last; r++) {
      subtractSky<T>(pixels, width, height, x, min(x + 4, x1), y0 + r, x0, sites, BLOCK + ((<usize>r) << 4) - column);
    }
    const block = blocks + ((<usize>found) << 2);
    found += sixDown(BLOCK, 16, rows + column, stride, 4, waiting, limit, block);
    store<i32>(block, x);
  }
  return found;
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
