import { skyDownSix, subtractSky } from './above-sky';
import { alongAt, alongRow, BATCH, downColumns, layWeights } from './binomial';
import { laySky, TILE_PX } from './sky-rows';

// Detection by a matched filter: the sky-subtracted frame in units of its noise, convolved with a Gaussian, one pass,
// a few rows of buffer. Emits the runs of pixels above the threshold and the local maxima; the host joins them.

/** Zeros in front of a row and behind it, f32. */
const MARGIN: i32 = 12;
/** Rows of the convolved frame that are kept, each at its number modulo this. */
const KEPT_ROWS: i32 = 4;

export const RUN_BYTES: usize = 8; // u16 x0, u16 x1 (exclusive), u32 y
export const PEAK_BYTES: usize = 20; // u32 x, u32 y, f32 significance, f32 dx, dy of its vertex from the pixel's middle

/**
 * Scans a frame. Returns the number of runs, or -1 when `runCapacity` did not suffice.
 * `levels`, `sigmas`: the mesh (cols * rows f32, nodes at the cell centres). `order`: even, at most 16; the filter is the binomial of
 * that order along x and y, in variance a Gaussian of `order` / 4 px². `norm`: what its sums are multiplied by to be in
 * sigmas. `threshold` in sigmas.
 * `sites`: parities that count (see mesh.ts); other pixels are taken as sky.
 * `runs`, `peaks`: output; `peakCount`: address of an i32 that receives the number of peaks (at most runCapacity).
 * `scratch`: (width + 27) * (order + 16) f32, aligned to 16 bytes.
 */
export function detectU16(
  pixels: usize, width: i32, height: i32, levels: usize, sigmas: usize, cols: i32, rows: i32, sites: i32,
  order: i32, norm: f32, threshold: f32, runs: usize, runCapacity: i32, peaks: usize, peakCount: usize, scratch: usize,
): i32 {
  return detect<u16>(pixels, width, height, levels, sigmas, cols, rows, sites, order, norm, threshold, runs, runCapacity, peaks, peakCount, scratch);
}

export function detectF32(
  pixels: usize, width: i32, height: i32, levels: usize, sigmas: usize, cols: i32, rows: i32, sites: i32,
  order: i32, norm: f32, threshold: f32, runs: usize, runCapacity: i32, peaks: usize, peakCount: usize, scratch: usize,
): i32 {
  return detect<f32>(pixels, width, height, levels, sigmas, cols, rows, sites, order, norm, threshold, runs, runCapacity, peaks, peakCount, scratch);
}

// @ts-ignore: decorator
@inline
function detect<T>(
  pixels: usize, width: i32, height: i32, levels: usize, sigmas: usize, cols: i32, rows: i32, sites: i32,
  order: i32, norm: f32, threshold: f32, runs: usize, runCapacity: i32, peaks: usize, peakCount: usize, scratch: usize,
): i32 {
  const stride = (<usize>((width + 2 * MARGIN + 3) & ~3)) << 2;
  memory.fill(scratch, 0, stride * <usize>(order + 16));
  layWeights(order);
  const blocks = scratch;
  const kept = blocks + stride;
  // Convolved down the columns: the last two rows of the batch before, then the batch.
  const batch = kept + <usize>(order + 2) * stride + (<usize>MARGIN << 2);
  // Convolved along the rows as well, where that may come above the limit, zero elsewhere.
  const both = batch + <usize>BATCH * stride;
  const zeros = both + <usize>KEPT_ROWS * stride;
  const half = order >> 1;
  const limit = threshold / norm;
  // A row's weights add up to 2^order: within the reach of a pixel above the limit one is above this.
  const bound = limit / <f32>(1 << order);
  let runCount = 0;
  let peakTotal = 0;
  let rowStartBefore = 0; // first run of the row before the newest
  let reached = blocks + (stride >> 2);
  let reachedBefore = blocks + (stride >> 1);
  let reachedCount = 0;

  for (let y0 = 0; y0 < height + half; y0 += BATCH) {
    let count = 0;
    for (let x0 = 0; x0 < width; x0 += TILE_PX) {
      const x1 = min(x0 + TILE_PX, width);
      laySky(levels, sigmas, cols, rows, width, height, x0, x1, y0, sites);
      if (order >= 6) {
        count += skyDownSix<T>(pixels, width, height, x0, x1, y0, sites, batch, stride, kept, bound, blocks + ((<usize>count) << 2));
        continue;
      }
      for (let y = y0, row = batch; y < y0 + BATCH; y++, row += stride) {
        if (y < height) subtractSky<T>(pixels, width, height, x0, x1, y, x0, sites, row);
        else memory.fill(row + ((<usize>x0) << 2), 0, (<usize>(x1 - x0)) << 2);
      }
    }
    if (order < 6) count = downColumns(batch, stride, width, order, kept, bound, blocks);
    else if (order > 6) count = downColumns(batch, stride, width, order - 6, kept + 6 * stride, bound, blocks);
    const before = reached;
    const beforeCount = reachedCount;
    reached = reachedBefore;
    reachedBefore = before;
    reachedCount = reachBlocks(blocks, count, (half + 3) & ~3, width, reached);
    for (let y = max(0, y0 - half), last = min(y0 + BATCH - half, height); y < last; y++) {
      const down = batch + <usize>(y + half - y0) * stride;
      const row = both + <usize>(y % KEPT_ROWS) * stride;
      const above = y > 0 ? both + <usize>((y - 1) % KEPT_ROWS) * stride : zeros;
      // What this row of memory held was a row of the same batch, whose blocks are written anew, or of the one before.
      if (y + half - y0 < KEPT_ROWS) clearBlocks(row, before, beforeCount);
      const rowStart = runCount;
      runCount = emitRuns(down, row, width, y, half, limit, reached, reachedCount, runs, runCount, runCapacity);
      if (runCount < 0) return -1;
      if (y > 0) {
        const twoAbove = y > 1 ? both + <usize>((y - 2) % KEPT_ROWS) * stride : zeros;
        peakTotal = emitPeaks(above, twoAbove, row, zeros, down - stride, stride, width, y - 1, half, norm, runs, rowStartBefore, rowStart, peaks, peakTotal, runCapacity);
      }
      rowStartBefore = rowStart;
      if (y == height - 1) {
        peakTotal = emitPeaks(row, above, zeros, zeros, down, stride, width, y, half, norm, runs, rowStart, runCount, peaks, peakTotal, runCapacity);
      }
    }
    memory.copy(batch - 2 * stride, batch + <usize>(BATCH - 2) * stride, 2 * stride - (<usize>MARGIN << 2));
  }
  store<i32>(peakCount, peakTotal);
  return runCount;
}

/** Blocks of four pixels as listed, in one row. */
function clearBlocks(row: usize, blocks: usize, count: i32): void {
  const zero = f32x4.splat(0);
  for (const end = blocks + ((<usize>count) << 2); blocks < end; blocks += 4) {
    v128.store(row + ((<usize>load<i32>(blocks)) << 2), zero);
  }
}

/** Lists the blocks that lie within `reach` pixels, whole blocks, of those listed; returns how many there are. */
function reachBlocks(blocks: usize, count: i32, reach: i32, width: i32, reached: usize): i32 {
  let end = reached;
  let next = 0;
  for (let block = 0; block < count; block++) {
    const x0 = load<i32>(blocks + ((<usize>block) << 2));
    let x = max(next, x0 - reach);
    for (const last = min(x0 + reach, width - 1); x <= last; x += 4, end += 4) store<i32>(end, x);
    next = x;
  }
  return <i32>((end - reached) >> 2);
}

/** Convolves the listed blocks along a row, `down` to `row`, and lists the runs above the limit. */
function emitRuns(
  down: usize, row: usize, width: i32, y: i32, half: i32, limit: f32, blocks: usize, blockCount: i32, runs: usize, from: i32, capacity: i32,
): i32 {
  const limits = f32x4.splat(limit);
  let count = from;
  let end = -1; // where the newest run ends
  for (let block = 0; block < blockCount; block++) {
    const x0 = load<i32>(blocks + ((<usize>block) << 2));
    const at = (<usize>x0) << 2;
    const values = alongRow(down + at, half);
    v128.store(row + at, values);
    for (let bits = i32x4.bitmask(f32x4.gt(values, limits)); bits != 0; bits &= bits - 1) {
      const x = x0 + ctz(bits);
      if (x >= width) break;
      if (x != end) {
        if (count == capacity) return -1;
        store<u16>(runs + <usize>count * RUN_BYTES, <u16>x);
        store<u32>(runs + <usize>count * RUN_BYTES, <u32>y, 4);
        count++;
      }
      end = x + 1;
      store<u16>(runs + <usize>(count - 1) * RUN_BYTES, <u16>end, 2);
    }
  }
  return count;
}

/**
 * Local maxima of a row among its eight neighbours, searched in that row's runs only. A neighbour that was not convolved
 * along its row lies below the limit; for the vertex it is: `down` is the row before that, among its neighbours `stride` apart.
 */
function emitPeaks(
  row: usize, above: usize, below: usize, zeros: usize, down: usize, stride: usize, width: i32, y: i32, half: i32, norm: f32, runs: usize, from: i32, to: i32,
  peaks: usize, count: i32, capacity: i32,
): i32 {
  for (let index = from; index < to; index++) {
    const run = runs + <usize>index * RUN_BYTES;
    const x1 = <i32>load<u16>(run + 2);
    for (let x = <i32>load<u16>(run); x < x1; x++) {
      const at = (<usize>x) << 2;
      const value = load<f32>(row + at);
      const inside = x > 0 && x + 1 < width;
      if (x > 0 && (load<f32>(row + at - 4) >= value || load<f32>(below + at - 4) > value)) continue;
      if (x + 1 < width && (load<f32>(row + at + 4) > value || load<f32>(below + at + 4) > value)) continue;
      if (load<f32>(below + at) > value || load<f32>(above + at) >= value) continue;
      if (x > 0 && load<f32>(above + at - 4) >= value) continue;
      if (x + 1 < width && load<f32>(above + at + 4) >= value) continue;
      if (count == capacity) return count;
      const peak = peaks + <usize>count * PEAK_BYTES;
      store<u32>(peak, <u32>x);
      store<u32>(peak + 4, <u32>y);
      store<f32>(peak + 8, value * norm);
      const left = inside ? alongAt(down + at - 4, half) : value;
      const right = inside ? alongAt(down + at + 4, half) : value;
      store<f32>(peak + 12, vertex(left, value, right));
      const upper = above == zeros ? <f32>0 : alongAt(down + at - stride, half);
      const lower = below == zeros ? <f32>0 : alongAt(down + at + stride, half);
      store<f32>(peak + 16, vertex(upper, value, lower));
      count++;
    }
  }
  return count;
}

/** Of the parabola through three values, the middle one the highest: -1/2 to 1/2. */
// @ts-ignore: decorator
@inline
function vertex(left: f32, middle: f32, right: f32): f32 {
  const bend: f32 = middle - left + (middle - right);
  return bend > 0 ? (<f32>0.5 * (right - left)) / bend : <f32>0;
}
