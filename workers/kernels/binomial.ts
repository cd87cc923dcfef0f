// Convolution with binomial weights, the Gaussian of detection: of order n it has a variance of n / 4 px² along each axis.
// Down the columns it is n times [1 1], n additions a pixel, in stages of six and of two; along the rows, which most
// pixels need not be convolved along, it is the weights themselves. Nothing is divided: after n along both axes, white
// noise of 1 has become C(2n, n).

/** Rows that are convolved down together, so that what a column remembers stays in registers over them. */
export const BATCH: i32 = 8;

/** The weights from the middle one outwards, each in four lanes; the highest order is 16. */
const WEIGHTS: usize = memory.data(9 * 16, 16);

/** Lays down the weights of an even order for `alongRow` and `alongAt`. */
export function layWeights(order: i32): void {
  let weight: f64 = 1;
  for (let j = 1; j <= order >> 1; j++) weight = (weight * <f64>(order - j + 1)) / <f64>j;
  for (let j = 0, half = order >> 1; j <= half; j++) {
    v128.store(WEIGHTS + ((<usize>j) << 4), f32x4.splat(<f32>weight));
    weight = (weight * <f64>(half - j)) / <f64>(half + j + 1);
  }
}

/** Four pixels of the convolution along a row; `half` the order, which the row has zeros for at both its ends. */
// @ts-ignore: decorator
@inline
export function alongRow(at: usize, half: i32): v128 {
  let sum = f32x4.mul(v128.load(at), v128.load(WEIGHTS));
  if (half == 3) return f32x4.add(f32x4.add(sum, pairAlong(at, 1)), f32x4.add(pairAlong(at, 2), pairAlong(at, 3)));
  for (let j = 1; j <= half; j++) sum = f32x4.add(sum, pairAlong(at, j));
  return sum;
}

/** What four pixels have from those j in front of them and j behind. */
// @ts-ignore: decorator
@inline
function pairAlong(at: usize, j: usize): v128 {
  return f32x4.mul(f32x4.add(v128.load(at - (j << 2)), v128.load(at + (j << 2))), v128.load(WEIGHTS + (j << 4)));
}

/** One pixel of it. */
export function alongAt(at: usize, half: i32): f32 {
  return f32x4.extract_lane(alongRow(at, half), 0);
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
  for (; left >= 6; left -= 6, kept += 6 * stride) found = sixDown(rows, stride, rows, stride, width, kept, limit, blocks);
  for (; left >= 2; left -= 2, kept += 2 * stride) found = twoDown(rows, stride, width, kept, limit, blocks);
  if (order > 0) return found;
  for (let x = 0; x < width; x += 4, found++) store<i32>(blocks + ((<usize>found) << 2), x);
  return found;
}

/** Six of the additions, from rows `fromStride` apart to rows `stride` apart, as are those of `kept`. */
export function sixDown(
  from: usize, fromStride: usize, to: usize, stride: usize, width: i32, kept: usize, limit: f32, blocks: usize,
): i32 {
  const limits = f32x4.splat(limit);
  let found = 0;
  for (let x = 0; x < width; x += 4) {
    const column = (<usize>x) << 2;
    const waiting = kept + (<usize>x) * 24;
    let s0 = v128.load(waiting);
    let s1 = v128.load(waiting, 16);
    let s2 = v128.load(waiting, 32);
    let s3 = v128.load(waiting, 48);
    let s4 = v128.load(waiting, 64);
    let s5 = v128.load(waiting, 80);
    let most = f32x4.splat(0);
    let at = from + column;
    let out = to + column;
    for (let r = 0; r < BATCH; r++, at += fromStride, out += stride) {
      const t0 = v128.load(at);
      const t1 = f32x4.add(s0, t0);
      const t2 = f32x4.add(s1, t1);
      const t3 = f32x4.add(s2, t2);
      const t4 = f32x4.add(s3, t3);
      const t5 = f32x4.add(s4, t4);
      const t6 = f32x4.add(s5, t5);
      v128.store(out, t6);
      most = f32x4.pmax(most, t6);
      s0 = t0;
      s1 = t1;
      s2 = t2;
      s3 = t3;
      s4 = t4;
      s5 = t5;
    }
    v128.store(waiting, s0);
    v128.store(waiting, s1, 16);
    v128.store(waiting, s2, 32);
    v128.store(waiting, s3, 48);
    v128.store(waiting, s4, 64);
    v128.store(waiting, s5, 80);
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
    const waiting = kept + ((<usize>x) << 3);
    let s0 = v128.load(waiting);
    let s1 = v128.load(waiting, 16);
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
    v128.store(waiting, s0);
    v128.store(waiting, s1, 16);
    if (v128.any_true(f32x4.gt(most, limits))) {
      store<i32>(blocks + ((<usize>found) << 2), x);
      found++;
    }
  }
  return found;
}
