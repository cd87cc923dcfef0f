import { selectF32 } from './select';

// Sky level and sky noise in each cell of a mesh over the frame: a sigma-clipped histogram of the cell's pixels whose
// bins follow the cell's own noise, so that the cost does not depend on it.

const BINS: i32 = 256;
/** The histogram spans this many sigmas either side of the first guess. */
const REACH: f64 = 5.0;
const CLIP: f64 = 3.0;
/** A Gaussian clipped at 3 sigma has 0.98658 of its standard deviation left. */
const CLIPPED_SIGMA: f64 = 0.98658;
const FIRST_GUESS: i32 = 255;
const GOLDEN: f64 = 0.6180339887498949;

/**
 * Mesh statistics. `levels` and `sigmas` receive cols * rows f32, row by row, in stored units; NaN where a cell has
 * fewer than 32 usable pixels.
 * `sites`: bit (x & 1) + 2 (y & 1) set = use pixels of that parity (15 = all, a mosaic's greens = two bits).
 * `rowStep`: use every rowStep-th row. `quantum`: step of the stored values, over which they are dithered.
 * `scratch`: room for (FIRST_GUESS + cell pixels) f32 and BINS i32.
 */
export function meshU16(
  pixels: usize, width: i32, height: i32, cols: i32, rows: i32,
  sites: i32, rowStep: i32, quantum: f64, levels: usize, sigmas: usize, scratch: usize,
): void {
  mesh<u16>(pixels, width, height, cols, rows, sites, rowStep, quantum, levels, sigmas, scratch);
}

/** As meshU16 for f32 pixels; NaN pixels are passed over. */
export function meshF32(
  pixels: usize, width: i32, height: i32, cols: i32, rows: i32,
  sites: i32, rowStep: i32, quantum: f64, levels: usize, sigmas: usize, scratch: usize,
): void {
  mesh<f32>(pixels, width, height, cols, rows, sites, rowStep, quantum, levels, sigmas, scratch);
}

// @ts-ignore: decorator
@inline
function mesh<T>(
  pixels: usize, width: i32, height: i32, cols: i32, rows: i32,
  sites: i32, rowStep: i32, quantum: f64, levels: usize, sigmas: usize, scratch: usize,
): void {
  for (let row = 0; row < rows; row++) {
    const y0 = <i32>((<i64>row * height) / rows);
    const y1 = <i32>((<i64>(row + 1) * height) / rows);
    for (let col = 0; col < cols; col++) {
      const x0 = <i32>((<i64>col * width) / cols);
      const x1 = <i32>((<i64>(col + 1) * width) / cols);
      const values = scratch + ((BINS + FIRST_GUESS) << 2);
      const count = gather<T>(pixels, width, x0, x1, y0, y1, sites, rowStep, values);
      const cell = (<usize>(row * cols + col)) << 2;
      skyOf(values, count, quantum, scratch, levels + cell, sigmas + cell);
    }
  }
}

/** Copies a cell's usable pixels as f32 and returns how many there are. */
// @ts-ignore: decorator
@inline
function gather<T>(
  pixels: usize, width: i32, x0: i32, x1: i32, y0: i32, y1: i32, sites: i32, rowStep: i32, values: usize,
): i32 {
  let end = values;
  for (let y = y0; y < y1; y += rowStep) {
    const pair = (sites >> ((y & 1) << 1)) & 3;
    if (pair == 0) continue;
    const step = pair == 3 ? 1 : 2;
    const first = pair == 2 ? x0 | 1 : pair == 1 ? (x0 + 1) & ~1 : x0;
    const row = pixels + <usize>y * <usize>width * sizeof<T>();
    for (let x = first; x < x1; x += step) {
      const value = <f32>load<T>(row + <usize>x * sizeof<T>());
      if (isFloat<T>()) {
        if (value != value) continue;
      }
      store<f32>(end, value);
      end += 4;
    }
  }
  return <i32>((end - values) >> 2);
}

function skyOf(values: usize, count: i32, quantum: f64, scratch: usize, level: usize, sigma: usize): void {
  store<f32>(level, f32.NaN);
  store<f32>(sigma, f32.NaN);
  if (count < 32) return;

  // First guess: median and median deviation of an even subsample.
  const sample = scratch + (BINS << 2);
  const stride = max(1, count / FIRST_GUESS);
  let n = 0;
  for (let i = 0; i < count && n < FIRST_GUESS; i += stride, n++) {
    store<f32>(sample + ((<usize>n) << 2), load<f32>(values + ((<usize>i) << 2)));
  }
  const guess = <f64>selectF32(sample, n, n >> 1);
  for (let i: usize = 0; i < <usize>n; i++) {
    store<f32>(sample + (i << 2), <f32>Math.abs(<f64>load<f32>(sample + (i << 2)) - guess));
  }
  // 1.4826: standard deviation of a Gaussian over its median absolute deviation.
  const spread = max(1.4826 * <f64>selectF32(sample, n, n >> 1), 0.5 * quantum);
  if (spread == 0) {
    store<f32>(level, <f32>guess);
    store<f32>(sigma, 0);
    return;
  }

  // Histogram, dithered over the converter's step so that percentiles do not jump from code to code.
  const binWidth = (2 * REACH * spread) / <f64>BINS;
  const low = guess - REACH * spread;
  memory.fill(scratch, 0, BINS << 2);
  const scale = 1 / binWidth;
  let phase: f64 = 0;
  for (let i = 0; i < count; i++) {
    phase += GOLDEN;
    if (phase >= 1) phase -= 1;
    const bin = (<f64>load<f32>(values + ((<usize>i) << 2)) + (phase - 0.5) * quantum - low) * scale;
    if (bin >= 0 && bin < <f64>BINS) {
      const slot = scratch + ((<usize><i32>bin) << 2);
      store<i32>(slot, load<i32>(slot) + 1);
    }
  }

  let from: f64 = 0;
  let to: f64 = <f64>BINS;
  let median: f64 = 0;
  let mean: f64 = 0;
  let deviation: f64 = 0;
  for (let round = 0; round < 6; round++) {
    let total: f64 = 0;
    let sum: f64 = 0;
    let squares: f64 = 0;
    for (let bin = <i32>from; bin < <i32>to; bin++) {
      const hits = <f64>load<i32>(scratch + ((<usize>bin) << 2));
      const middle = <f64>bin + 0.5;
      total += hits;
      sum += hits * middle;
      squares += hits * middle * middle;
    }
    if (total < 16) break;
    mean = sum / total;
    deviation = Math.sqrt(max(squares / total - mean * mean, 1 / 12.0));
    let below: f64 = 0;
    let bin = <i32>from;
    for (; bin < <i32>to; bin++) {
      const hits = <f64>load<i32>(scratch + ((<usize>bin) << 2));
      if (below + hits >= total / 2) {
        median = <f64>bin + (total / 2 - below) / max(hits, 1);
        break;
      }
      below += hits;
    }
    const nextFrom = max(0, Math.floor(median - CLIP * deviation));
    const nextTo = min(<f64>BINS, Math.ceil(median + CLIP * deviation));
    if (nextFrom <= from && nextTo >= to) break;
    from = max(from, nextFrom);
    to = min(to, nextTo);
  }
  // Where stars crowd the cell the mean is pulled up; the mode of a mildly skewed distribution is near
  // 2.5 median - 1.5 mean (Pearson's rule with the constants of Bertin & Arnouts 1996, A&AS 117, 393).
  const skewed = Math.abs(mean - median) > 0.3 * deviation;
  // Coarser codes than the noise make the median lean on single codes: there the clipped mean is the better middle.
  const coarse = quantum > deviation * binWidth;
  const mode = skewed ? median : coarse ? mean : 2.5 * median - 1.5 * mean;
  const dither = quantum * quantum / 12;
  const variance = (deviation * binWidth / CLIPPED_SIGMA) * (deviation * binWidth / CLIPPED_SIGMA) - dither;
  store<f32>(level, <f32>(low + mode * binWidth));
  store<f32>(sigma, <f32>Math.sqrt(max(variance, dither)));
}

/**
 * Greatest common step of `count` u16 values, every `stride`-th taken: 16 for 12-bit values scaled to 16 bit; 0 when all
 * are equal.
 */
export function quantumU16(pixels: usize, count: i32, stride: i32): i32 {
  const first = <i32>load<u16>(pixels);
  let step = 0;
  for (let i = 0; i < count && step != 1; i += stride) {
    let other = <i32>load<u16>(pixels + ((<usize>i) << 1)) - first;
    if (other < 0) other = -other;
    while (other != 0) {
      const rest = step % other;
      step = other;
      other = rest;
    }
  }
  return step;
}
