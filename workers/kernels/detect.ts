// Detection by a matched filter: the sky-subtracted frame in units of its noise, convolved with a Gaussian, one pass,
// a few rows of buffer. Emits the runs of pixels above the threshold and the local maxima; the host joins them.

/** A pixel is hot when it stands this many sigmas out ... */
const HOT_SIGMAS: f32 = 8;
/** ... and both rings of four neighbours stay below this share of it (a star of 1.2 px FWHM still has 0.1). */
const HOT_SHARE: f32 = 0.05;
/** Sky and noise vary slowly: their rows are renewed only so often. */
const SKY_ROWS: i32 = 4;

export const RUN_BYTES: usize = 8; // u16 x0, u16 x1 (exclusive), u32 y
export const PEAK_BYTES: usize = 12; // u32 x, u32 y, f32 significance

/**
 * Scans a frame. Returns the number of runs, or -1 when `runCapacity` did not suffice.
 * `levels`, `sigmas`: the mesh (cols * rows f32, nodes at the cell centres). `taps`: radius + 1 f32 of the
 * half kernel, normalised so that the result is in sigmas. `threshold` in sigmas.
 * `sites`: parities that count (see mesh.ts); other pixels are taken as sky.
 * `runs`, `peaks`: output; `peakCount`: address of an i32 that receives the number of peaks (at most runCapacity).
 * `scratch`: (width + 2 radius + 16) * (2 radius + 9) f32.
 */
export function detectU16(
  pixels: usize, width: i32, height: i32, levels: usize, sigmas: usize, cols: i32, rows: i32, sites: i32,
  taps: usize, radius: i32, threshold: f32, runs: usize, runCapacity: i32, peaks: usize, peakCount: usize, scratch: usize,
): i32 {
  return detect<u16>(pixels, width, height, levels, sigmas, cols, rows, sites, taps, radius, threshold, runs, runCapacity, peaks, peakCount, scratch);
}

export function detectF32(
  pixels: usize, width: i32, height: i32, levels: usize, sigmas: usize, cols: i32, rows: i32, sites: i32,
  taps: usize, radius: i32, threshold: f32, runs: usize, runCapacity: i32, peaks: usize, peakCount: usize, scratch: usize,
): i32 {
  return detect<f32>(pixels, width, height, levels, sigmas, cols, rows, sites, taps, radius, threshold, runs, runCapacity, peaks, peakCount, scratch);
}

// @ts-ignore: decorator
@inline
function detect<T>(
  pixels: usize, width: i32, height: i32, levels: usize, sigmas: usize, cols: i32, rows: i32, sites: i32,
  taps: usize, radius: i32, threshold: f32, runs: usize, runCapacity: i32, peaks: usize, peakCount: usize, scratch: usize,
): i32 {
  const padded = (width + 2 * radius + 16) & ~3;
  const rowBytes = (<usize>padded) << 2;
  const window = 2 * radius + 1;
  const sky = scratch;
  const weightEven = sky + rowBytes;
  const weightOdd = weightEven + rowBytes;
  const signal = weightOdd + rowBytes; // radius zeros, the row, zeros
  const smoothed = signal + rowBytes; // ring of three rows of the result
  const ring = smoothed + 3 * rowBytes; // ring of `window` rows, convolved along x
  const rowTable = ring + <usize>window * rowBytes;
  memory.fill(scratch, 0, rowBytes * <usize>(window + 7));
  let runCount = 0;
  let peakTotal = 0;
  let rowStartBefore = 0; // first run of the row before the newest

  for (let y = 0; y < height + radius; y++) {
    const ringRow = ring + <usize>(y % window) * rowBytes;
    if (y < height) {
      if (y % SKY_ROWS == 0) {
        skyRows(levels, sigmas, cols, rows, width, height, y + SKY_ROWS / 2, sites, sky, weightEven, weightOdd);
      }
      const weight = (y & 1) == 0 ? weightEven : weightOdd;
      subtractSky<T>(pixels, width, height, y, sky, weight, sites, signal + ((<usize>radius) << 2));
      convolveRow(signal, ringRow, taps, radius, width);
    } else {
      memory.fill(ringRow, 0, rowBytes);
    }
    const done = y - radius;
    if (done < 0) continue;

    const out = smoothed + <usize>(done % 3) * rowBytes;
    convolveColumns(ring, rowBytes, window, taps, radius, out, width, done, rowTable);
    const rowStart = runCount;
    runCount = emitRuns(out, width, done, threshold, runs, runCount, runCapacity);
    if (runCount < 0) return -1;
    if (done > 0) {
      peakTotal = emitPeaks(
        smoothed, rowBytes, width, done - 1, runs, rowStartBefore, rowStart, peaks, peakTotal, runCapacity, done < 2,
      );
    }
    rowStartBefore = rowStart;
  }
  memory.fill(smoothed + <usize>(height % 3) * rowBytes, 0, rowBytes);
  peakTotal = emitPeaks(
    smoothed, rowBytes, width, height - 1, runs, rowStartBefore, runCount, peaks, peakTotal, runCapacity, height < 2,
  );
  store<i32>(peakCount, peakTotal);
  return runCount;
}

/** Sky level and 1/noise of row y, linear between the mesh nodes; weights are zero where the site does not count. */
function skyRows(
  levels: usize, sigmas: usize, cols: i32, rows: i32, width: i32, height: i32, y: i32, sites: i32,
  sky: usize, weightEven: usize, weightOdd: usize,
): void {
  let fy = ((<f32>y + 0.5) * <f32>rows) / <f32>height - 0.5;
  fy = max<f32>(0, min<f32>(fy, <f32>(rows - 1)));
  const j = min(<i32>fy, max(rows - 2, 0));
  const v = fy - <f32>j;
  const upper = (<usize>(j * cols)) << 2;
  const lower = (<usize>(min(j + 1, rows - 1) * cols)) << 2;
  const nodesPerPx = f32x4.splat(<f32>cols / <f32>width);
  const last = f32x4.splat(<f32>(cols - 1));
  const zero = f32x4.splat(0);
  const one = f32x4.splat(1);
  const even = siteLanes(sites & 3);
  const odd = siteLanes((sites >> 2) & 3);
  let node = -1;
  let level0 = zero, level1 = zero, sigma0 = zero, sigma1 = zero, start = zero;
  for (let x = 0; x < width; x += 4) {
    const places = f32x4.add(f32x4.splat(<f32>x), f32x4(0.5, 1.5, 2.5, 3.5));
    const fx = f32x4.pmax(zero, f32x4.pmin(f32x4.sub(f32x4.mul(places, nodesPerPx), f32x4.splat(0.5)), last));
    const i = min(<i32>f32x4.extract_lane(fx, 0), max(cols - 2, 0));
    if (i != node) {
      node = i;
      start = f32x4.splat(<f32>i);
      level0 = meshNode(levels, upper, lower, cols, i, v);
      level1 = f32x4.sub(meshNode(levels, upper, lower, cols, i + 1, v), level0);
      sigma0 = meshNode(sigmas, upper, lower, cols, i, v);
      sigma1 = f32x4.sub(meshNode(sigmas, upper, lower, cols, i + 1, v), sigma0);
    }
    const u = f32x4.sub(fx, start);
    let level = f32x4.add(level0, f32x4.mul(u, level1));
    let sigma = f32x4.add(sigma0, f32x4.mul(u, sigma1));
    // Nodes are far wider than four pixels: at most one of them lies between the lanes.
    const k = min(<i32>f32x4.extract_lane(fx, 3), max(cols - 2, 0));
    if (k != i) {
      const beyond = f32x4.gt(u, one);
      const w = f32x4.sub(u, one);
      const level2 = meshNode(levels, upper, lower, cols, k, v);
      const sigma2 = meshNode(sigmas, upper, lower, cols, k, v);
      const level3 = f32x4.sub(meshNode(levels, upper, lower, cols, k + 1, v), level2);
      const sigma3 = f32x4.sub(meshNode(sigmas, upper, lower, cols, k + 1, v), sigma2);
      level = v128.bitselect(f32x4.add(level2, f32x4.mul(w, level3)), level, beyond);
      sigma = v128.bitselect(f32x4.add(sigma2, f32x4.mul(w, sigma3)), sigma, beyond);
    }
    const inverse = f32x4.div(one, f32x4.pmax(f32x4.splat(1e-20), sigma));
    const at = (<usize>x) << 2;
    v128.store(sky + at, level);
    v128.store(weightEven + at, v128.and(inverse, even));
    v128.store(weightOdd + at, v128.and(inverse, odd));
  }
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
// @ts-ignore: decorator
@inline
function subtractSky<T>(
  pixels: usize, width: i32, height: i32, y: i32, sky: usize, weight: usize, sites: i32, out: usize,
): void {
  const row = pixels + <usize>y * <usize>width * sizeof<T>();
  const limit = f32x4.splat(HOT_SIGMAS);
  let x = 0;
  for (; x + 4 <= width; x += 4) {
    const at = (<usize>x) << 2;
    let value: v128;
    if (isFloat<T>()) {
      const raw = v128.load(row + at);
      value = f32x4.mul(f32x4.sub(raw, v128.load(sky + at)), v128.load(weight + at));
      value = v128.and(value, f32x4.eq(raw, raw));
    } else {
      const raw = f32x4.convert_i32x4_u(v128.load16x4_u(row + (at >> 1)));
      value = f32x4.mul(f32x4.sub(raw, v128.load(sky + at)), v128.load(weight + at));
    }
    v128.store(out + at, value);
    if (v128.any_true(f32x4.gt(value, limit))) {
      for (let i = x; i < x + 4; i++) repairHot<T>(pixels, width, height, i, y, sky, weight, sites, out);
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

// @ts-ignore: decorator
@inline
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
  const straight = ringMean<T>(pixels, width, height, x, y, green ? 2 : reach, 0) - level;
  const diagonal = ringMean<T>(pixels, width, height, x, y, reach, reach) - level;
  if (straight < cap && diagonal < cap) return level + (green ? diagonal : straight);
  return f32.NaN;
}

/** Mean of the four pixels at (dx, dy) turned by quarter turns, inside the frame. */
// @ts-ignore: decorator
@inline
function ringMean<T>(pixels: usize, width: i32, height: i32, x: i32, y: i32, dx: i32, dy: i32): f32 {
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

function convolveRow(signal: usize, out: usize, taps: usize, radius: i32, width: i32): void {
  const tap0 = v128.load32_splat(taps);
  // Eight pixels at a time: the sums stay in registers over all taps.
  for (let x = 0; x < width; x += 8) {
    const middle = signal + ((<usize>(x + radius)) << 2);
    let left = f32x4.mul(v128.load(middle), tap0);
    let right = f32x4.mul(v128.load(middle, 16), tap0);
    for (let j = 1; j <= radius; j++) {
      const off = (<usize>j) << 2;
      const tap = v128.load32_splat(taps + off);
      const before = middle - off;
      const behind = middle + off;
      left = f32x4.add(left, f32x4.mul(f32x4.add(v128.load(before), v128.load(behind)), tap));
      right = f32x4.add(right, f32x4.mul(f32x4.add(v128.load(before, 16), v128.load(behind, 16)), tap));
    }
    v128.store(out + ((<usize>x) << 2), left);
    v128.store(out + ((<usize>x) << 2), right, 16);
  }
}

/** `rows`: room for 2 radius + 1 addresses, filled with the rows above and below in pairs, the middle one first. */
function convolveColumns(
  ring: usize, rowBytes: usize, window: i32, taps: usize, radius: i32, out: usize, width: i32, y: i32, rows: usize,
): void {
  store<usize>(rows, ring + <usize>(y % window) * rowBytes);
  for (let j = 1; j <= radius; j++) {
    const pair = rows + (<usize>(2 * j - 1)) * sizeof<usize>();
    store<usize>(pair, ring + <usize>((y - j + window) % window) * rowBytes);
    store<usize>(pair + sizeof<usize>(), ring + <usize>((y + j) % window) * rowBytes);
  }
  const tap0 = v128.load32_splat(taps);
  const centre = load<usize>(rows);
  for (let x = 0; x < width; x += 8) {
    const at = (<usize>x) << 2;
    let left = f32x4.mul(v128.load(centre + at), tap0);
    let right = f32x4.mul(v128.load(centre + at, 16), tap0);
    let pair = rows + sizeof<usize>();
    for (let j = 1; j <= radius; j++) {
      const tap = v128.load32_splat(taps + ((<usize>j) << 2));
      const above = load<usize>(pair) + at;
      const below = load<usize>(pair + sizeof<usize>()) + at;
      left = f32x4.add(left, f32x4.mul(f32x4.add(v128.load(above), v128.load(below)), tap));
      right = f32x4.add(right, f32x4.mul(f32x4.add(v128.load(above, 16), v128.load(below, 16)), tap));
      pair += 2 * sizeof<usize>();
    }
    v128.store(out + at, left);
    v128.store(out + at, right, 16);
  }
}

function emitRuns(row: usize, width: i32, y: i32, threshold: f32, runs: usize, count: i32, capacity: i32): i32 {
  const limit = f32x4.splat(threshold);
  let x = 0;
  while (x < width) {
    if (x + 4 <= width && !v128.any_true(f32x4.gt(v128.load(row + ((<usize>x) << 2)), limit))) {
      x += 4;
      continue;
    }
    const stop = min(x + 4, width);
    while (x < stop && load<f32>(row + ((<usize>x) << 2)) <= threshold) x++;
    if (x == stop) continue;
    const start = x;
    while (x < width && load<f32>(row + ((<usize>x) << 2)) > threshold) x++;
    if (count == capacity) return -1;
    const run = runs + <usize>count * RUN_BYTES;
    store<u16>(run, <u16>start);
    store<u16>(run + 2, <u16>x);
    store<u32>(run + 4, <u32>y);
    count++;
  }
  return count;
}

/** Local maxima of row y among its eight neighbours, searched in that row's runs only. */
function emitPeaks(
  smoothed: usize, rowBytes: usize, width: i32, y: i32, runs: usize, from: i32, to: i32,
  peaks: usize, count: i32, capacity: i32, first: bool,
): i32 {
  const row = smoothed + <usize>(y % 3) * rowBytes;
  const above = smoothed + <usize>((y + 2) % 3) * rowBytes;
  const below = smoothed + <usize>((y + 1) % 3) * rowBytes;
  for (let index = from; index < to; index++) {
    const run = runs + <usize>index * RUN_BYTES;
    const x1 = <i32>load<u16>(run + 2);
    for (let x = <i32>load<u16>(run); x < x1; x++) {
      const at = (<usize>x) << 2;
      const value = load<f32>(row + at);
      if (x > 0 && (load<f32>(row + at - 4) >= value || load<f32>(below + at - 4) > value)) continue;
      if (x + 1 < width && (load<f32>(row + at + 4) > value || load<f32>(below + at + 4) > value)) continue;
      if (load<f32>(below + at) > value) continue;
      if (!first) {
        if (load<f32>(above + at) >= value) continue;
        if (x > 0 && load<f32>(above + at - 4) >= value) continue;
        if (x + 1 < width && load<f32>(above + at + 4) >= value) continue;
      }
      if (count == capacity) return count;
      const peak = peaks + <usize>count * PEAK_BYTES;
      store<u32>(peak, <u32>x);
      store<u32>(peak + 4, <u32>y);
      store<f32>(peak + 8, value);
      count++;
    }
  }
  return count;
}
