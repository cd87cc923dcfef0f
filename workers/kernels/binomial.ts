// Convolution with binomial weights, the Gaussian of detection: n times [1 1] has a variance of n / 4 px² and costs n
// additions a pixel along each axis. Stages of six and of two follow on each other, each in place. The sums are not
// divided: after n along both axes, white noise of 1 has become C(2n, n).

/** Rows that are convolved down together, so that what a column remembers stays in registers over them. */
export const BATCH: i32 = 8;

/** Four pixels plus those one to the right, which begin in `a` and go on in `b`. */
// @ts-ignore: decorator
@inline
function withNext(a: v128, b: v128): v128 {
  return f32x4.add(a, v128.shuffle<i32>(a, b, 1, 2, 3, 4));
}

/**
 * Along a row: `from` begins with `order` / 2 zeros and ends with 28 zeros at least; the result, `width` f32, is left at
 * `to`, in front of which 96 bytes are scratch. Rows may be the same when `to` is `from`.
 */
export function alongRow(from: usize, to: usize, width: i32, order: i32): void {
  let left = order;
  let source = from;
  for (; left >= 6; left -= 6, source = to) six(source, to, width + left);
  for (; left >= 2; left -= 2, source = to) two(source, to, width + left);
  if (source != to) memory.copy(to, source, <usize>width << 2);
}

/** The sums run six vectors behind: s0 to s5 hold what each addition still waits for. */
function six(from: usize, to: usize, width: i32): void {
  const end = from + (<usize>((width + 3) >> 2) << 4) + 96;
  let out = to - 96;
  let s0 = f32x4.splat(0), s1 = s0, s2 = s0, s3 = s0, s4 = s0, s5 = s0;
  for (let at = from; at < end; at += 16, out += 16) {
    const t0 = v128.load(at);
    const t1 = withNext(s0, t0);
    const t2 = withNext(s1, t1);
    const t3 = withNext(s2, t2);
    const t4 = withNext(s3, t3);
    const t5 = withNext(s4, t4);
    v128.store(out, withNext(s5, t5));
    s0 = t0;
    s1 = t1;
    s2 = t2;
    s3 = t3;
    s4 = t4;
    s5 = t5;
  }
}

function two(from: usize, to: usize, width: i32): void {
  const end = from + (<usize>((width + 3) >> 2) << 4) + 32;
  let out = to - 32;
  let s0 = f32x4.splat(0), s1 = s0;
  for (let at = from; at < end; at += 16, out += 16) {
    const t0 = v128.load(at);
    const t1 = withNext(s0, t0);
    v128.store(out, withNext(s1, t1));
    s0 = t0;
    s1 = t1;
  }
}

/**
 * Down the columns of BATCH rows (`stride` bytes apart, `width` f32 each), in place: row r of the result is centred on
 * the row `order` / 2 before row r. `memory`: `order` rows of `stride` bytes that go from batch to batch, zero at first.
 * `blocks` receives the first x of every four columns where a result exceeds `limit`; returns how many there are.
 */
export function downColumns(
  rows: usize, stride: usize, width: i32, order: i32, memory: usize, limit: f32, blocks: usize,
): i32 {
  let kept = memory;
  let found = 0;
  let left = order;
  for (; left >= 6; left -= 6, kept += 6 * stride) found = sixDown(rows, stride, width, kept, limit, blocks);
  for (; left >= 2; left -= 2, kept += 2 * stride) found = twoDown(rows, stride, width, kept, limit, blocks);
  if (order > 0) return found;
  for (let x = 0; x < width; x += 4, found++) store<i32>(blocks + ((<usize>found) << 2), x);
  return found;
}

function sixDown(rows: usize, stride: usize, width: i32, kept: usize, limit: f32, blocks: usize): i32 {
  const limits = f32x4.splat(limit);
  let found = 0;
  for (let x = 0; x < width; x += 4) {
    const column = (<usize>x) << 2;
    const memory = kept + column;
    let s0 = v128.load(memory);
    let s1 = v128.load(memory + stride);
    let s2 = v128.load(memory + 2 * stride);
    let s3 = v128.load(memory + 3 * stride);
    let s4 = v128.load(memory + 4 * stride);
    let s5 = v128.load(memory + 5 * stride);
    let most = f32x4.splat(0);
    let at = rows + column;
    for (let r = 0; r < BATCH; r++, at += stride) {
      const t0 = v128.load(at);
      const t1 = f32x4.add(s0, t0);
      const t2 = f32x4.add(s1, t1);
      const t3 = f32x4.add(s2, t2);
      const t4 = f32x4.add(s3, t3);
      const t5 = f32x4.add(s4, t4);
      const t6 = f32x4.add(s5, t5);
      v128.store(at, t6);
      most = f32x4.pmax(most, t6);
      s0 = t0;
      s1 = t1;
      s2 = t2;
      s3 = t3;
      s4 = t4;
      s5 = t5;
    }
    v128.store(memory, s0);
    v128.store(memory + stride, s1);
    v128.store(memory + 2 * stride, s2);
    v128.store(memory + 3 * stride, s3);
    v128.store(memory + 4 * stride, s4);
    v128.store(memory + 5 * stride, s5);
    if (v128.any_true(f32x4.gt(most, limits))) {
      store<i32>(blocks + ((<usize>found) << 2), x);
      found++;
    }
  }
  return found;
}

function twoDown(rows: usize, stride: usize, width: i32, kept: usize, limit: f32, blocks: usize): i32 {
  const limits = f32x4.splat(limit);
  let found = 0;
  for (let x = 0; x < width; x += 4) {
    const column = (<usize>x) << 2;
    const memory = kept + column;
    let s0 = v128.load(memory);
    let s1 = v128.load(memory + stride);
    let most = f32x4.splat(0);
    let at = rows + column;
    for (let r = 0; r < BATCH; r++, at += stride) {
      const t0 = v128.load(at);
      const t1 = f32x4.add(s0, t0);
      const t2 = f32x4.add(s1, t1);
      v128.store(at, t2);
      most = f32x4.pmax(most, t2);
      s0 = t0;
      s1 = t1;
    }
    v128.store(memory, s0);
    v128.store(memory + stride, s1);
    if (v128.any_true(f32x4.gt(most, limits))) {
      store<i32>(blocks + ((<usize>found) << 2), x);
      found++;
    }
  }
  return found;
}
