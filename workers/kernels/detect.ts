import { alongRow, BATCH, downColumns } from './binomial';
import { skyRows, subtractSky } from './sky-rows';

// Detection by a matched filter: the sky-subtracted frame in units of its noise, convolved with a Gaussian, one pass,
// a few rows of buffer. Emits the runs of pixels above the threshold and the local maxima; the host joins them.

/** Sky and noise vary slowly: their rows are renewed only so often. */
const SKY_ROWS: i32 = 4;
/** f32 in front of a row (scratch of alongRow) and behind it. */
const FRONT: i32 = 24;
const BEHIND: i32 = 64;

export const RUN_BYTES: usize = 8; // u16 x0, u16 x1 (exclusive), u32 y
export const PEAK_BYTES: usize = 20; // u32 x, u32 y, f32 significance, f32 dx, dy of its vertex from the pixel's middle

/**
 * Scans a frame. Returns the number of runs, or -1 when `runCapacity` did not suffice.
 * `levels`, `sigmas`: the mesh (cols * rows f32, nodes at the cell centres). `order`: even, at most 16; the filter is the binomial of
 * that order along x and y, in variance a Gaussian of `order` / 4 px². `norm`: what its sums are multiplied by to be in
 * sigmas. `threshold` in sigmas.
 * `sites`: parities that count (see mesh.ts); other pixels are taken as sky.
 * `runs`, `peaks`: output; `peakCount`: address of an i32 that receives the number of peaks (at most runCapacity).
 * `scratch`: (width + 92) * (order + 16) f32, aligned to 16 bytes.
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
  const stride = (<usize>((width + FRONT + BEHIND + 3) & ~3)) << 2;
  memory.fill(scratch, 0, stride * <usize>(order + 16));
  const sky = scratch;
  const weightEven = sky + stride;
  const weightOdd = weightEven + stride;
  const signal = weightOdd + stride; // order / 2 zeros, the row, zeros
  const zeros = signal + stride + (<usize>FRONT << 2);
  const blocks = signal + 2 * stride;
  const kept = blocks + stride;
  // The last two rows of the batch before, then the batch.
  const batch = kept + <usize>order * stride + 2 * stride + (<usize>FRONT << 2);
  const lag = order >> 1;
  const limit = threshold / norm;
  let runCount = 0;
  let peakTotal = 0;
  let rowStartBefore = 0; // first run of the row before the newest

  for (let y0 = 0; y0 < height + lag; y0 += BATCH) {
    for (let r = 0; r < BATCH; r++) {
      const y = y0 + r;
      const row = batch + <usize>r * stride;
      if (y >= height) {
        memory.fill(row, 0, (<usize>width << 2) + 16);
        continue;
      }
      if (y % SKY_ROWS == 0) {
        skyRows(levels, sigmas, cols, rows, width, height, y + SKY_ROWS / 2, sites, sky, weightEven, weightOdd);
      }
      const weight = (y & 1) == 0 ? weightEven : weightOdd;
      subtractSky<T>(pixels, width, height, y, sky, weight, sites, signal + (<usize>lag << 2));
      alongRow(signal, row, width, order);
    }
    const blockCount = downColumns(batch, stride, width, order, kept, limit, blocks);
    for (let r = 0; r < BATCH; r++) {
      const done = y0 + r - lag;
      if (done < 0 || done >= height) continue;
      const row = batch + <usize>r * stride;
      const rowStart = runCount;
      runCount = emitRuns(row, width, done, limit, blocks, blockCount, runs, runCount, runCapacity);
      if (runCount < 0) return -1;
      if (done > 0) {
        const above = done > 1 ? row - 2 * stride : zeros;
        peakTotal = emitPeaks(row - stride, above, row, width, done - 1, norm, runs, rowStartBefore, rowStart, peaks, peakTotal, runCapacity);
      }
      rowStartBefore = rowStart;
      if (done == height - 1) {
        const above = done > 0 ? row - stride : zeros;
        peakTotal = emitPeaks(row, above, zeros, width, done, norm, runs, rowStart, runCount, peaks, peakTotal, runCapacity);
      }
    }
    memory.copy(batch - 2 * stride, batch + <usize>(BATCH - 2) * stride, 2 * stride - (<usize>FRONT << 2));
  }
  store<i32>(peakCount, peakTotal);
  return runCount;
}

/** Only the blocks of four pixels that exceed the limit somewhere in the batch are looked at. */
function emitRuns(
  row: usize, width: i32, y: i32, limit: f32, blocks: usize, blockCount: i32, runs: usize, from: i32, capacity: i32,
): i32 {
  const limits = f32x4.splat(limit);
  let count = from;
  let end = -1; // where the newest run ends
  for (let block = 0; block < blockCount; block++) {
    const x0 = load<i32>(blocks + ((<usize>block) << 2));
    const bits = i32x4.bitmask(f32x4.gt(v128.load(row + ((<usize>x0) << 2)), limits));
    if (bits == 0) continue;
    for (let lane = 0; lane < 4; lane++) {
      const x = x0 + lane;
      if (((bits >> lane) & 1) == 0 || x >= width) continue;
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

/** Local maxima of a row among its eight neighbours, searched in that row's runs only. */
function emitPeaks(
  row: usize, above: usize, below: usize, width: i32, y: i32, norm: f32, runs: usize, from: i32, to: i32,
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
      store<f32>(peak + 12, inside ? vertex(load<f32>(row + at - 4), value, load<f32>(row + at + 4)) : <f32>0);
      store<f32>(peak + 16, vertex(load<f32>(above + at), value, load<f32>(below + at)));
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
