// Residuals of many stars laid over each other on a fine grid about the stars' centres. Each pixel is spread over a
// disc, its share parabolic in the distance.

/** A record: dx, dy from the star's centre, residual in units of the star's flux, its variance, weight; f32 each. */
export const RECORD_BYTES: usize = 20;

/**
 * Packs the pixels of a list that lie within `kept` of the profile's centre in x and y, after subtractProfile, as
 * records behind `out`; returns how many. Variance of a pixel: sky and photons of what lies above the base.
 */
export function packResiduals(
  list: usize, capacity: i32, count: i32, params: usize, kept: f32, flux: f64, skyVariance: f64, unitsPerElectron: f64,
  weight: f32, out: usize,
): i32 {
  const plane = (<usize>capacity) << 2;
  const base = <f32>load<f64>(params, 8);
  const x0 = <f32>load<f64>(params, 16);
  const y0 = <f32>load<f64>(params, 24);
  const scale = 1 / flux;
  let end = out;
  for (let i = 0; i < count; i++) {
    const at = list + ((<usize>i) << 2);
    if (load<f32>(at + 3 * plane) == 0) continue;
    const dx = load<f32>(at) - x0;
    const dy = load<f32>(at + plane) - y0;
    if (Mathf.abs(dx) > kept || Mathf.abs(dy) > kept) continue;
    const light = <f64>max<f32>(load<f32>(at + 2 * plane) - base, 0);
    store<f32>(end, dx);
    store<f32>(end, dy, 4);
    store<f32>(end, <f32>(<f64>load<f32>(at + 4 * plane) * scale), 8);
    store<f32>(end, <f32>((skyVariance + unitsPerElectron * light) * scale * scale), 12);
    store<f32>(end, weight, 16);
    end += RECORD_BYTES;
  }
  return <i32>((end - out) / RECORD_BYTES);
}

/** Nodes across a disc at most; 1 - dx² and -dy² of the nodes in units of the disc. */
const MOST_NODES: i32 = 256;
const ACROSS: usize = memory.data(256 * 8, 16);
const DOWN: usize = memory.data(256 * 8, 16);
/** Of each row of a disc the first node inside and the first beyond, i32. */
const FIRST: usize = memory.data(256 * 4, 16);
const BEYOND: usize = memory.data(256 * 4, 16);

/**
 * Adds the records of one star to a grid of side 2 middle + 1 nodes, `steps` (a whole number) to the pixel: share * value
 * to `sum` and share to `weight` (f64 each), share = record's weight times the disc's parabola.
 */
export function layResiduals(
  records: usize, count: i32, middle: i32, steps: f64, discPx: f64, sum: usize, weight: usize,
): void {
  lay<i32>(records, count, middle, steps, discPx, sum, weight);
}

/** Lays down what the grid's `mean` leaves of each record of one star: adds share * (value - mean there) to `rest`. */
export function layRest(
  records: usize, count: i32, middle: i32, steps: f64, discPx: f64, mean: usize, rest: usize,
): void {
  lay<f32>(records, count, middle, steps, discPx, rest, mean);
}

/** T: i32 for the first picture, f32 for the rest. */
// @ts-ignore: decorator
@inline
function lay<T>(records: usize, count: i32, middle: i32, steps: f64, discPx: f64, out: usize, other: usize): void {
  if (count == 0) return;
  const side = 2 * middle + 1;
  const disc = discPx * steps;
  // A star's pixels lie whole nodes apart: all see the same shares.
  const firstX = <f64>load<f32>(records) * steps + <f64>middle;
  const firstY = <f64>load<f32>(records, 4) * steps + <f64>middle;
  const leftmost = Math.ceil(firstX - disc);
  const topmost = Math.ceil(firstY - disc);
  const nodes = min(MOST_NODES, <i32>Math.floor(2 * disc) + 1);
  for (let i = 0; i < nodes; i++) {
    const at = (<usize>i) << 3;
    const dx = (leftmost + <f64>i - firstX) / disc;
    const dy = (topmost + <f64>i - firstY) / disc;
    store<f64>(ACROSS + at, 1 - dx * dx);
    store<f64>(DOWN + at, -dy * dy);
  }
  for (let j = 0; j < nodes; j++) {
    const down = load<f64>(DOWN + ((<usize>j) << 3));
    let first = 0;
    let beyond = nodes;
    while (first < nodes && !(load<f64>(ACROSS + ((<usize>first) << 3)) + down > 0)) first++;
    while (beyond > first && !(load<f64>(ACROSS + ((<usize>(beyond - 1)) << 3)) + down > 0)) beyond--;
    store<i32>(FIRST + ((<usize>j) << 2), first);
    store<i32>(BEYOND + ((<usize>j) << 2), beyond);
  }
  for (let n = 0; n < count; n++) {
    const record = records + <usize>n * RECORD_BYTES;
    const x = <f64>load<f32>(record) * steps + <f64>middle;
    const y = <f64>load<f32>(record, 4) * steps + <f64>middle;
    const col0 = nearestWhole(leftmost + (x - firstX));
    const row0 = nearestWhole(topmost + (y - firstY));
    if (col0 >= side || row0 >= side || col0 + nodes <= 0 || row0 + nodes <= 0) continue;
    const own = <f64>load<f32>(record, 16);
    let value = <f64>load<f32>(record, 8);
    if (isFloat<T>()) value -= meanAt(x, y, side, other);
    value *= own;
    const values = f64x2.splat(value);
    const owns = f64x2.splat(own);
    for (let j = max(0, -row0), last = min(nodes, side - row0); j < last; j++) {
      const down = load<f64>(DOWN + ((<usize>j) << 3));
      const downs = f64x2.splat(down);
      const row = (<usize>((row0 + j) * side + col0)) << 3;
      let i = max(load<i32>(FIRST + ((<usize>j) << 2)), -col0);
      const to = min(load<i32>(BEYOND + ((<usize>j) << 2)), side - col0);
      for (; i + 1 < to; i += 2) {
        const share = f64x2.add(v128.load(ACROSS + ((<usize>i) << 3)), downs);
        const at = row + ((<usize>i) << 3);
        v128.store(out + at, f64x2.add(v128.load(out + at), f64x2.mul(share, values)));
        if (!isFloat<T>()) v128.store(other + at, f64x2.add(v128.load(other + at), f64x2.mul(share, owns)));
      }
      if (i < to) {
        const share = load<f64>(ACROSS + ((<usize>i) << 3)) + down;
        const at = row + ((<usize>i) << 3);
        store<f64>(out + at, load<f64>(out + at) + share * value);
        if (!isFloat<T>()) store<f64>(other + at, load<f64>(other + at) + share * own);
      }
    }
  }
}

/** Adding 1.5 * 2^52 rounds to whole numbers and leaves them in the low bits: several times as fast as a conversion. */
// @ts-ignore: decorator
@inline
function nearestWhole(x: f64): i32 {
  return <i32>reinterpret<i64>(x + 6755399441055744);
}

/** The mean at (x, y) in nodes, linear between them; 0 outside. */
// @ts-ignore: decorator
@inline
function meanAt(x: f64, y: f64, side: i32, mean: usize): f64 {
  const last = <f64>(side - 1);
  if (!(x >= 0 && y >= 0 && x < last && y < last)) return 0;
  const col = nearestWhole(Math.floor(x));
  const row = nearestWhole(Math.floor(y));
  const u = x - <f64>col;
  const v = y - <f64>row;
  const upper = mean + ((<usize>(row * side + col)) << 3);
  const lower = upper + ((<usize>side) << 3);
  return (
    (1 - v) * ((1 - u) * load<f64>(upper) + u * load<f64>(upper, 8)) + v * ((1 - u) * load<f64>(lower) + u * load<f64>(lower, 8))
  );
}

/** Sum of share² * variance of records about a place, in pixels from the stars' centres; shares as in layResiduals. */
export function residualNoise(records: usize, count: i32, x: f64, y: f64, discPx: f64): f64 {
  const narrow = 1 / (discPx * discPx);
  let sum: f64 = 0;
  for (let n = 0; n < count; n++) {
    const record = records + <usize>n * RECORD_BYTES;
    const dx = <f64>load<f32>(record) - x;
    const dy = <f64>load<f32>(record, 4) - y;
    const share = (1 - (dx * dx + dy * dy) * narrow) * <f64>load<f32>(record, 16);
    if (share > 0) sum += share * share * <f64>load<f32>(record, 12);
  }
  return sum;
}
