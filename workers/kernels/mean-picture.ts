// The pixels of many stars laid over each other on a fine grid about the stars' centres, each spread by a triangle.

/** Nodes of the grid per pixel, see regions/mean-star.ts; a pixel's triangle reaches as many each way. */
const STEPS: i32 = 3;
/** Nodes across a triangle: those at its very ends weigh nothing. */
const REACH: i32 = 2 * STEPS;

/**
 * Adds one star's pixels within `radius` of (x0, y0) in x and in y to a grid of `side` nodes a side, centred on the star:
 * two f64 a node, sum of share * value and sum of share; value = (pixel - sky) / flux. With `mean` (f32 a node; else 0) a
 * pixel stays out that differs from it by more than a tenth of `peak` and half of itself. `work`: 12 f64.
 */
export function layStarU16(
  pixels: usize, width: i32, height: i32, sites: i32, x0: f64, y0: f64, radius: f64, sky: f64, flux: f64, starWeight: f64,
  mean: usize, peak: f64, side: i32, sums: usize, work: usize,
): void {
  layStar<u16>(pixels, width, height, sites, x0, y0, radius, sky, flux, starWeight, mean, peak, side, sums, work);
}

export function layStarF32(
  pixels: usize, width: i32, height: i32, sites: i32, x0: f64, y0: f64, radius: f64, sky: f64, flux: f64, starWeight: f64,
  mean: usize, peak: f64, side: i32, sums: usize, work: usize,
): void {
  layStar<f32>(pixels, width, height, sites, x0, y0, radius, sky, flux, starWeight, mean, peak, side, sums, work);
}

// @ts-ignore: decorator
@inline
function layStar<T>(
  pixels: usize, width: i32, height: i32, sites: i32, x0: f64, y0: f64, radius: f64, sky: f64, flux: f64, starWeight: f64,
  mean: usize, peak: f64, side: i32, sums: usize, work: usize,
): void {
  const middle = <f64>((side - 1) >> 1);
  const left = <i32>Math.ceil(x0 - radius);
  const top = <i32>Math.ceil(y0 - radius);
  // A pixel's step is a whole number of nodes, so all pixels of a star lie alike between the nodes.
  const firstX = (<f64>left - x0) * STEPS + middle;
  const firstY = (<f64>top - y0) * STEPS + middle;
  const down = work + (REACH << 3);
  for (let i = 0; i < REACH; i++) {
    store<f64>(work + (<usize>i << 3), shareAt(firstX, i));
    store<f64>(down + (<usize>i << 3), starWeight * shareAt(firstY, i));
  }
  const right = min(width - 1, <i32>Math.floor(x0 + radius));
  const bottom = min(height - 1, <i32>Math.floor(y0 + radius));
  for (let y = max(0, top); y <= bottom; y++) {
    const sy = firstY + <f64>((y - top) * STEPS);
    const row0 = <i32>Math.ceil(sy - STEPS);
    for (let x = max(0, left); x <= right; x++) {
      if (((sites >> ((x & 1) | ((y & 1) << 1))) & 1) == 0) continue;
      const value = (<f64>load<T>(pixels + (<usize>y * <usize>width + <usize>x) * sizeof<T>()) - sky) / flux;
      if (value != value) continue;
      const sx = firstX + <f64>((x - left) * STEPS);
      if (mean) {
        const node = <i32>Math.floor(sy + 0.5) * side + <i32>Math.floor(sx + 0.5);
        const expected = <f64>load<f32>(mean + (<usize>node << 2));
        if (Math.abs(value - expected) > 0.1 * peak + 0.5 * Math.abs(expected)) continue;
      }
      const col0 = <i32>Math.ceil(sx - STEPS);
      const to = min(REACH, side - col0);
      const pair = f64x2.replace_lane(f64x2.splat(1), 0, value);
      for (let j = max(0, -row0), last = min(REACH, side - row0); j < last; j++) {
        const row = sums + (<usize>((row0 + j) * side + col0) << 4);
        const share = f64x2.mul(v128.load64_splat(down + (<usize>j << 3)), pair);
        for (let i = max(0, -col0); i < to; i++) {
          const at = row + (<usize>i << 4);
          v128.store(at, f64x2.add(v128.load(at), f64x2.mul(share, v128.load64_splat(work + (<usize>i << 3)))));
        }
      }
    }
  }
}

/** What a pixel at `place` between the nodes gives to the i-th node from ceil(place - STEPS) on. */
// @ts-ignore: decorator
@inline
function shareAt(place: f64, i: i32): f64 {
  return 1 - Math.abs(Math.ceil(place - STEPS) + <f64>i - place) / STEPS;
}
