import { BATCH, sixDown } from './binomial';
import { HOT_SIGMAS, hotReplacement } from './hot';
import { heldF32 } from './lanes';
import { SKY, SKY_ROWS, SKY_STRIDE } from './sky-rows';

// Rows of the frame in units of their noise above the sky.

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
