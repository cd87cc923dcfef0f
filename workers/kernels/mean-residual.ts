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

/**
 * Adds records to a grid of side 2 middle + 1 nodes, `steps` to the pixel: share * value to `sum`, share to `weight`,
 * share² * variance to `noise` (f64 each), share = record's weight times the disc's parabola.
 */
export function layResiduals(
  records: usize, count: i32, middle: i32, steps: f64, discPx: f64, sum: usize, weight: usize, noise: usize,
): void {
  lay<i32>(records, count, middle, steps, discPx, sum, weight, noise);
}

/** Lays down what the grid's mean sum / weight leaves of each record: adds share * (value - mean there) to `rest`. */
export function layRest(
  records: usize, count: i32, middle: i32, steps: f64, discPx: f64, sum: usize, weight: usize, rest: usize,
): void {
  lay<f32>(records, count, middle, steps, discPx, sum, weight, rest);
}

/** T: i32 for the first picture, f32 for the rest. */
// @ts-ignore: decorator
@inline
function lay<T>(
  records: usize, count: i32, middle: i32, steps: f64, discPx: f64, sum: usize, weight: usize, third: usize,
): void {
  const side = 2 * middle + 1;
  const disc = discPx * steps;
  const narrow = 1 / (disc * disc);
  for (let n = 0; n < count; n++) {
    const record = records + <usize>n * RECORD_BYTES;
    const x = <f64>load<f32>(record) * steps + <f64>middle;
    const y = <f64>load<f32>(record, 4) * steps + <f64>middle;
    let value = <f64>load<f32>(record, 8);
    const variance = <f64>load<f32>(record, 12);
    const own = <f64>load<f32>(record, 16);
    if (isFloat<T>()) value -= meanAt(x, y, side, sum, weight);
    const row1 = min(side - 1, <i32>Math.floor(y + disc));
    const col0 = max(0, <i32>Math.ceil(x - disc));
    const col1 = min(side - 1, <i32>Math.floor(x + disc));
    for (let row = max(0, <i32>Math.ceil(y - disc)); row <= row1; row++) {
      const dy = <f64>row - y;
      for (let col = col0; col <= col1; col++) {
        const dx = <f64>col - x;
        const share = (1 - (dx * dx + dy * dy) * narrow) * own;
        if (!(share > 0)) continue;
        const at = (<usize>(row * side + col)) << 3;
        if (isFloat<T>()) {
          store<f64>(third + at, load<f64>(third + at) + share * value);
        } else {
          store<f64>(sum + at, load<f64>(sum + at) + share * value);
          store<f64>(weight + at, load<f64>(weight + at) + share);
          store<f64>(third + at, load<f64>(third + at) + share * share * variance);
        }
      }
    }
  }
}

/** sum / weight at (x, y) in nodes, linear between them; 0 outside. */
// @ts-ignore: decorator
@inline
function meanAt(x: f64, y: f64, side: i32, sum: usize, weight: usize): f64 {
  const col = <i32>Math.floor(x);
  const row = <i32>Math.floor(y);
  if (col < 0 || row < 0 || col + 1 >= side || row + 1 >= side) return 0;
  const u = x - <f64>col;
  const v = y - <f64>row;
  const upper = row * side + col;
  const lower = upper + side;
  return (
    (1 - v) * ((1 - u) * node(upper, sum, weight) + u * node(upper + 1, sum, weight)) +
    v * ((1 - u) * node(lower, sum, weight) + u * node(lower + 1, sum, weight))
  );
}

// @ts-ignore: decorator
@inline
function node(index: i32, sum: usize, weight: usize): f64 {
  const at = (<usize>index) << 3;
  const total = load<f64>(weight + at);
  return total > 0 ? load<f64>(sum + at) / total : 0;
}
