import { held, heldF32 } from './lanes';
import { selectF32 } from './select';

// Sky level and sky noise in each cell of a mesh over the frame: a sigma-clipped histogram of the cell's pixels whose
// bins follow the cell's own noise, so that the cost does not depend on it.

const BINS: i32 = 128;
/** The histogram spans this many sigmas either side of the first guess. */
const REACH: f64 = 5.0;
const CLIP: f64 = 3.0;
/** A Gaussian clipped at 3 sigma has 0.98658 of its standard deviation left. */
const CLIPPED_SIGMA: f64 = 0.98658;
const FIRST_GUESS: i32 = 63;
/** The first guess is a rough one: where the histogram proves too narrow it is laid anew about what it found. */
const ATTEMPTS: i32 = 4;
/** 2^32 over the golden ratio: its multiples modulo 2^32 are spread evenly, whatever their number. */
const GOLDEN: i32 = <i32>0x9e3779b9;

// The scratch: hits of the bins with one more either side for what lies outside, then their cumulated sums.
const SUMS_AT: usize = (<usize>(BINS + 2)) << 2;
const SQUARES_AT: usize = SUMS_AT + ((<usize>(BINS + 1)) << 3);
const TOTALS_AT: usize = SQUARES_AT + ((<usize>(BINS + 1)) << 3);
const SAMPLE_AT: usize = TOTALS_AT + ((<usize>(BINS + 1)) << 3);
const VALUES_AT: usize = (SAMPLE_AT + ((<usize>FIRST_GUESS) << 2) + 15) & ~15;

/**
 * Mesh statistics. `levels` and `sigmas` receive cols * rows f32, row by row, in stored units; NaN where a cell has
 * fewer than 32 usable pixels.
 * `sites`: bit (x & 1) + 2 (y & 1) set = use pixels of that parity (15 = all, a mosaic's greens = two bits).
 * `rowStep`: of every rowStep pairs of rows use the first (pairs, so that a mosaic's greens count alike). `quantum`: step
 * of the stored values, over which they are dithered. `scratch`: 4096 bytes and room for a cell's pixels as f32.
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
      const values = scratch + VALUES_AT;
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
  for (let y = y0; y < y1; y++) {
    if (((y - y0) >> 1) % rowStep != 0) continue;
    const pair = (sites >> ((y & 1) << 1)) & 3;
    if (pair == 0) continue;
    const row = pixels + <usize>y * <usize>width * sizeof<T>();
    let x = pair == 2 ? x0 | 1 : pair == 1 ? (x0 + 1) & ~1 : x0;
    if (pair == 3 && !isFloat<T>()) {
      for (; x + 4 <= x1; x += 4, end += 16) v128.store(end, f32x4.convert_i32x4_s(v128.load16x4_u(row + ((<usize>x) << 1))));
    }
    const step = pair == 3 ? 1 : 2;
    for (; x < x1; x += step) {
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
  const sample = scratch + SAMPLE_AT;
  const stride = max(1, count / FIRST_GUESS);
  let n = 0;
  for (let i = 0; i < count && n < FIRST_GUESS; i += stride, n++) {
    store<f32>(sample + ((<usize>n) << 2), load<f32>(values + ((<usize>i) << 2)));
  }
  let guess = <f64>selectF32(sample, n, n >> 1);
  for (let i: usize = 0; i < <usize>n; i++) {
    store<f32>(sample + (i << 2), <f32>Math.abs(<f64>load<f32>(sample + (i << 2)) - guess));
  }
  // 1.4826: standard deviation of a Gaussian over its median absolute deviation.
  let spread = max(1.4826 * <f64>selectF32(sample, n, n >> 1), 0.5 * quantum);
  if (spread == 0) {
    store<f32>(level, <f32>guess);
    store<f32>(sigma, 0);
    return;
  }

  let low: f64 = 0;
  let binWidth: f64 = 0;
  let median: f64 = 0;
  let mean: f64 = 0;
  let deviation: f64 = 0;
  for (let attempt = 0; attempt < ATTEMPTS; attempt++) {
    low = guess - REACH * spread;
    binWidth = (2 * REACH * spread) / <f64>BINS;
    layHistogram(values, count, <f32>low, <f32>(1 / binWidth), <f32>quantum, scratch);
    cumulate(scratch);
    let from = 0;
    let to = BINS;
    for (let round = 0; round < 6; round++) {
      const before = totalAt(scratch, from);
      const total = totalAt(scratch, to) - before;
      if (total < 16) break;
      mean = (load<f64>(scratch + SUMS_AT + ((<usize>to) << 3)) - load<f64>(scratch + SUMS_AT + ((<usize>from) << 3))) / total;
      const square = (load<f64>(scratch + SQUARES_AT + ((<usize>to) << 3)) - load<f64>(scratch + SQUARES_AT + ((<usize>from) << 3))) / total;
      deviation = Math.sqrt(max(square - mean * mean, 1 / 12.0));
      // The first bin whose end holds half of them.
      const half = before + total / 2;
      let first = from;
      let last = to - 1;
      while (first < last) {
        const middle = (first + last) >> 1;
        if (totalAt(scratch, middle + 1) >= half) last = middle;
        else first = middle + 1;
      }
      const below = totalAt(scratch, first);
      median = <f64>first + (half - below) / max(totalAt(scratch, first + 1) - below, 1);
      const nextFrom = max(0, <i32>Math.floor(median - CLIP * deviation));
      const nextTo = min(BINS, <i32>Math.ceil(median + CLIP * deviation));
      if (nextFrom <= from && nextTo >= to) break;
      from = max(from, nextFrom);
      to = min(to, nextTo);
    }
    if (median - CLIP * deviation >= 0 && median + CLIP * deviation <= <f64>BINS) break;
    guess = low + median * binWidth;
    spread = 1.25 * deviation * binWidth;
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

/** Hits of the bins, each value dithered over the converter's step so that percentiles do not jump from code to code. */
function layHistogram(values: usize, count: i32, low: f32, scale: f32, quantum: f32, hits: usize): void {
  memory.fill(hits, 0, (BINS + 2) << 2);
  const lows = heldF32(0, low);
  const scales = heldF32(1, scale);
  // A phase is a signed fraction of 2^32: converted and scaled it lies between -1/2 and 1/2 quantum.
  const steps = held(2, f32x4.splat(quantum * <f32>2.3283064365386963e-10));
  const least = heldF32(3, -1);
  const most = heldF32(4, BINS);
  // With 2^23 and one bin for what lies below added, the low bits are the bin.
  const toBits = heldF32(5, 8388609);
  const mask = held(6, i32x4.splat(0x3ff));
  let phases = i32x4(GOLDEN, 2 * GOLDEN, 3 * GOLDEN, 4 * GOLDEN);
  const advance = held(7, i32x4.splat(4 * GOLDEN));
  const even = count & ~3;
  for (let i = 0; i < even; i += 4) {
    const offsets = offsetsOf(v128.load(values + ((<usize>i) << 2)), phases, lows, scales, steps, least, most, toBits, mask);
    phases = i32x4.add(phases, advance);
    hit(hits, i32x4.extract_lane(offsets, 0));
    hit(hits, i32x4.extract_lane(offsets, 1));
    hit(hits, i32x4.extract_lane(offsets, 2));
    hit(hits, i32x4.extract_lane(offsets, 3));
  }
  // The last few are read past the values and not counted.
  const offsets = offsetsOf(v128.load(values + ((<usize>even) << 2)), phases, lows, scales, steps, least, most, toBits, mask);
  if (even < count) hit(hits, i32x4.extract_lane(offsets, 0));
  if (even + 1 < count) hit(hits, i32x4.extract_lane(offsets, 1));
  if (even + 2 < count) hit(hits, i32x4.extract_lane(offsets, 2));
}

/** Where the bins of four values lie, in bytes. */
// @ts-ignore: decorator
@inline
function offsetsOf(
  values: v128, phases: v128, lows: v128, scales: v128, steps: v128, least: v128, most: v128, toBits: v128, mask: v128,
): v128 {
  const dithered = f32x4.add(f32x4.sub(values, lows), f32x4.mul(f32x4.convert_i32x4_s(phases), steps));
  const bin = f32x4.pmin(f32x4.pmax(least, f32x4.floor(f32x4.mul(dithered, scales))), most);
  return v128.and(i32x4.shl(f32x4.add(bin, toBits), 2), mask);
}

// @ts-ignore: decorator
@inline
function hit(hits: usize, offset: i32): void {
  const slot = hits + <usize>offset;
  store<i32>(slot, load<i32>(slot) + 1);
}

/** Number of values, their sum and the sum of their squares below each bin, in bins. */
function cumulate(scratch: usize): void {
  let total: f64 = 0;
  let sum: f64 = 0;
  let squares: f64 = 0;
  for (let bin = 0; bin <= BINS; bin++) {
    const at = (<usize>bin) << 3;
    store<f64>(scratch + TOTALS_AT + at, total);
    store<f64>(scratch + SUMS_AT + at, sum);
    store<f64>(scratch + SQUARES_AT + at, squares);
    const hits = <f64>load<i32>(scratch + ((<usize>(bin + 1)) << 2));
    const middle = <f64>bin + 0.5;
    total += hits;
    sum += hits * middle;
    squares += hits * middle * middle;
  }
}

// @ts-ignore: decorator
@inline
function totalAt(scratch: usize, bin: i32): f64 {
  return load<f64>(scratch + TOTALS_AT + ((<usize>bin) << 3));
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
