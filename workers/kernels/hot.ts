// Pixels that stand out alone: no light came to them through the optics.

/** A pixel is hot when it stands this many sigmas out ... */
export const HOT_SIGMAS: f32 = 8;
/** ... and both rings of four neighbours stay below this share of it (a star of 1.2 px FWHM still has 0.1). */
const HOT_SHARE: f32 = 0.05;

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
  // Stars are told by the first ring already.
  const straight = ringMean<T>(pixels, width, height, x, y, green ? 2 : reach, 0) - level;
  if (!(straight < cap)) return f32.NaN;
  const diagonal = ringMean<T>(pixels, width, height, x, y, reach, reach) - level;
  return diagonal < cap ? level + (green ? diagonal : straight) : f32.NaN;
}

/** Mean of the four pixels at (dx, dy) turned by quarter turns, inside the frame. */
// @ts-ignore: decorator
@inline
function ringMean<T>(pixels: usize, width: i32, height: i32, x: i32, y: i32, dx: i32, dy: i32): f32 {
  if (x >= 2 && y >= 2 && x + 2 < width && y + 2 < height) {
    const all = at<T>(pixels, width, x + dx, y + dy) + at<T>(pixels, width, x - dy, y + dx)
      + at<T>(pixels, width, x - dx, y - dy) + at<T>(pixels, width, x + dy, y - dx);
    if (all == all) return <f32>0.25 * all;
  }
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

// @ts-ignore: decorator
@inline
function at<T>(pixels: usize, width: i32, x: i32, y: i32): f32 {
  return <f32>load<T>(pixels + (<usize>y * <usize>width + <usize>x) * sizeof<T>());
}
