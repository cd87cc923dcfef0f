import { BitReader, depth, readPlanes } from './quadtree.ts';

/**
 * HCOMPRESS_1 (FITS Standard 4.0, 10.4.4; R. White, Space Telescope Science Institute): the H-transform, a
 * two-dimensional Haar transform of whole numbers, its coefficients divided by a scale and written by bit planes. All
 * arithmetic is in doubles, whose whole numbers reach further than the 32 bits that a sum over a tile may overflow.
 */
const MAGIC = [0xdd, 0x99];
const HEAD_BYTES = 2 + 3 * 4 + 8 + 3;
/** Tiles are bands of rows; one of more pixels than this is a lie of the header. */
const MOST_PIXELS = 1 << 26;

/** Unpacks `count` numbers into `target`. Returns false where the bytes make no sense. */
export function unpackHcompress(bytes: Uint8Array, target: Int32Array, count: number): boolean {
  if (bytes.length < HEAD_BYTES || MAGIC.some((byte, i) => bytes[i] !== byte)) return false;
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const [rows, cols, scale] = [2, 6, 10].map((at) => view.getInt32(at));
  if (rows < 1 || cols < 1 || rows * cols !== count || count > MOST_PIXELS) return false;
  const sum = Number(view.getBigInt64(14));
  const [planesSum, planesSlope, planesCross] = bytes.subarray(22, 25);
  if (Math.max(planesSum, planesSlope, planesCross) > 52) return false;

  const values = new Float64Array(count);
  const reader = new BitReader(bytes, HEAD_BYTES);
  const [upper, left] = [(rows + 1) >> 1, (cols + 1) >> 1];
  const quarter = (planes: number, row: number, col: number, height: number, width: number) =>
    readPlanes(reader, planes, values, { at: row * cols + col, stride: cols, rows: height, cols: width });
  const complete =
    quarter(planesSum, 0, 0, upper, left) &&
    quarter(planesSlope, 0, left, upper, cols - left) &&
    quarter(planesSlope, upper, 0, rows - upper, left) &&
    quarter(planesCross, upper, left, rows - upper, cols - left) &&
    reader.bits(4) === 0;
  if (!complete) return false;
  reader.align();
  for (let i = 0; i < count; i++) if (values[i] !== 0 && reader.bits(1) === 1) values[i] = -values[i];
  if (reader.overrun) return false;
  values[0] = sum;
  if (scale > 1) for (let i = 0; i < count; i++) values[i] *= scale;
  invert(values, rows, cols);
  for (let i = 0; i < count; i++) target[i] = values[i];
  return true;
}

/** Undoes the H-transform in place, from the coarsest level to the pixels. */
function invert(a: Float64Array, rows: number, cols: number): void {
  const levels = depth(Math.max(rows, cols));
  if (levels === 0) return;
  const line = new Float64Array(Math.max(rows, cols));
  // At level k the coefficients are kept to a step that halves from level to level; rounding restores the bits that
  // the transform had left out because they follow from the others.
  a[0] = roundTo(a[0], 2 ** (levels + 1));
  for (let level = levels - 1; level >= 0; level--) {
    const height = Math.ceil(rows / 2 ** level);
    const width = Math.ceil(cols / 2 ** level);
    for (let row = 0; row < height; row++) interleave(a, row * cols, 1, width, line);
    for (let col = 0; col < width; col++) interleave(a, col, cols, height, line);
    mergeLevel(a, cols, height, width, 2 ** level, level === 0 ? 4 : 2);
  }
}

/** Two halves of a line, one behind the other, become its even and its odd places. */
function interleave(a: Float64Array, at: number, stride: number, length: number, line: Float64Array): void {
  const evens = (length + 1) >> 1;
  for (let i = 0; i < length; i++) line[i < evens ? 2 * i : 2 * (i - evens) + 1] = a[at + i * stride];
  for (let i = 0; i < length; i++) a[at + i * stride] = line[i];
}

/** The multiple of `step` that is nearest, halves away from zero downwards for negative numbers. */
const roundTo = (value: number, step: number) => {
  const shift = value >= 0 ? step / 2 : Math.max(step / 2 - 1, 0);
  return Math.floor((value + shift) / step) * step;
};

/** The bit of weight `weight` of a whole number, as two's complement has it; 0 for weights below one. */
const bitOf = (value: number, weight: number) => Math.abs(Math.floor(value / weight) % 2) * weight;
const away = (value: number, by: number) => (value >= 0 ? value + by : value - by);

/**
 * One level: from sum, slopes and cross term of each block of 2 x 2 to its four values. `step` is the weight of the
 * cross term's lowest bit, slopes have twice and sums four times that; `divisor` is 2, and 4 at the last level.
 */
function mergeLevel(
  a: Float64Array,
  stride: number,
  height: number,
  width: number,
  step: number,
  divisor: number,
): void {
  const divide = (value: number) => Math.floor(value / divisor);
  const slope = (value: number) => roundTo(value, 2 * step);
  for (let row = 0; row < height; row += 2)
    for (let col = 0; col < width; col += 2) {
      const at = row * stride + col;
      const below = at + stride;
      const hasBelow = row + 1 < height;
      const hasRight = col + 1 < width;
      const sum = a[at];
      if (hasBelow && hasRight) {
        const cross = roundTo(a[below + 1], step);
        const low = bitOf(cross, step);
        const down = away(slope(a[below]), -low);
        const right = away(slope(a[at + 1]), -low);
        const bits = bitOf(cross, 2 * step) + bitOf(down, 2 * step) + bitOf(right, 2 * step);
        const high = bits % (4 * step);
        const whole = sum >= 0 ? sum + low - high : sum + (low === 0 ? high : low - high);
        a[below + 1] = divide(whole + down + right + cross);
        a[below] = divide(whole + down - right - cross);
        a[at + 1] = divide(whole - down + right - cross);
        a[at] = divide(whole - down - right + cross);
      } else if (hasBelow || hasRight) {
        const other = hasBelow ? below : at + 1;
        const difference = slope(a[other]);
        const whole = away(sum, -bitOf(difference, 2 * step));
        a[other] = divide(whole + difference);
        a[at] = divide(whole - difference);
      } else a[at] = divide(sum);
    }
}
