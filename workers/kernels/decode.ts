// From the file's big-endian numbers to pixels. Sources and targets are addresses; they must not overlap unless the
// kernel says so. Scaled kernels compute target = f32(zero + scale * f64(stored)); infinities become NaN, since a
// pixel without a value is all that they can mean to what follows.

/**
 * Big-endian signed 16-bit to unsigned 16-bit, offset by 32768 so that order is kept: target = stored + 32768.
 * `source` and `target` may be the same address.
 */
export function decodeI16(source: usize, target: usize, count: i32): void {
  const flip = i16x8.splat(i16.MIN_VALUE);
  let i = 0;
  for (; i + 8 <= count; i += 8) {
    const word = v128.load(source + (i << 1));
    const swapped = v128.shuffle<u8>(word, word, 1, 0, 3, 2, 5, 4, 7, 6, 9, 8, 11, 10, 13, 12, 15, 14);
    v128.store(target + (i << 1), v128.xor(swapped, flip));
  }
  for (; i < count; i++) {
    const word = load<u16>(source + (i << 1));
    store<u16>(target + (i << 1), (((word << 8) | (word >> 8)) & 0xffff) ^ 0x8000);
  }
}

/** Bytes to unsigned 16-bit. */
export function decodeU8(source: usize, target: usize, count: i32): void {
  let i = 0;
  for (; i + 16 <= count; i += 16) {
    const bytes = v128.load(source + i);
    v128.store(target + (i << 1), i16x8.extend_low_i8x16_u(bytes));
    v128.store(target + (i << 1), i16x8.extend_high_i8x16_u(bytes), 16);
  }
  for (; i < count; i++) store<u16>(target + (i << 1), load<u8>(source + i));
}

/** Big-endian signed 32-bit to float. Where `hasBlank` is 1, pixels equal to `blank` become NaN. */
export function decodeI32(
  source: usize,
  target: usize,
  count: i32,
  scale: f64,
  zero: f64,
  hasBlank: i32,
  blank: i32,
): void {
  const blanks = i32x4.splat(blank);
  const minding = i32x4.splat(-hasBlank);
  let i = 0;
  for (; i + 4 <= count; i += 4) {
    const word = swap32(v128.load(source + (i << 2)));
    const low = scaled(f64x2.convert_low_i32x4_s(word), scale, zero);
    const high = scaled(f64x2.convert_low_i32x4_s(upper(word)), scale, zero);
    const isBlank = v128.and(i32x4.eq(word, blanks), minding);
    v128.store(target + (i << 2), v128.or(finite(joined(low, high)), isBlank));
  }
  for (; i < count; i++) {
    const word = bswap<i32>(load<i32>(source + (i << 2)));
    const value = hasBlank && word == blank ? f32(NaN) : finiteOrNaN(zero + scale * f64(word));
    store<f32>(target + (i << 2), value);
  }
}

/**
 * Big-endian 64-bit to float; signed, or, where `unsigned` is 1, offset by 2^63 (the FITS way to store unsigned
 * numbers) without the loss that adding 2^63 in floating point would bring. `blank` is compared with what is stored.
 */
export function decodeI64(
  source: usize,
  target: usize,
  count: i32,
  scale: f64,
  zero: f64,
  unsigned: i32,
  hasBlank: i32,
  blank: i64,
): void {
  for (let i = 0; i < count; i++) {
    const word = bswap<i64>(load<i64>(source + (i << 3)));
    const number = unsigned ? f64(u64(word) ^ 0x8000000000000000) : f64(word);
    const value = hasBlank && word == blank ? f32(NaN) : finiteOrNaN(zero + scale * number);
    store<f32>(target + (i << 2), value);
  }
}

/** Big-endian 32-bit floats, unscaled. `source` and `target` may be the same address. */
export function decodeF32(source: usize, target: usize, count: i32): void {
  let i = 0;
  for (; i + 4 <= count; i += 4) v128.store(target + (i << 2), finite(swap32(v128.load(source + (i << 2)))));
  for (; i < count; i++) {
    const value = reinterpret<f32>(bswap<u32>(load<u32>(source + (i << 2))));
    store<f32>(target + (i << 2), isFinite<f32>(value) ? value : f32(NaN));
  }
}

/** Big-endian 32-bit floats with a scale. `source` and `target` may be the same address. */
export function decodeF32Scaled(source: usize, target: usize, count: i32, scale: f64, zero: f64): void {
  let i = 0;
  for (; i + 4 <= count; i += 4) {
    const word = swap32(v128.load(source + (i << 2)));
    const low = scaled(f64x2.promote_low_f32x4(word), scale, zero);
    const high = scaled(f64x2.promote_low_f32x4(upper(word)), scale, zero);
    v128.store(target + (i << 2), finite(joined(low, high)));
  }
  for (; i < count; i++) {
    const value = reinterpret<f32>(bswap<u32>(load<u32>(source + (i << 2))));
    store<f32>(target + (i << 2), finiteOrNaN(zero + scale * f64(value)));
  }
}

/** Big-endian 64-bit floats. */
export function decodeF64(source: usize, target: usize, count: i32, scale: f64, zero: f64): void {
  let i = 0;
  for (; i + 4 <= count; i += 4) {
    const low = scaled(swap64(v128.load(source + (i << 3))), scale, zero);
    const high = scaled(swap64(v128.load(source + (i << 3), 16)), scale, zero);
    v128.store(target + (i << 2), finite(joined(low, high)));
  }
  for (; i < count; i++) {
    const value = reinterpret<f64>(bswap<u64>(load<u64>(source + (i << 3))));
    store<f32>(target + (i << 2), finiteOrNaN(zero + scale * value));
  }
}

/**
 * Unsigned 16-bit to float in place: `address` holds `count` u16 and has room for `count` f32. The number stored in
 * the file is u16 - offset; a u16 equal to `blank` (-1 for none) becomes NaN. Runs from the end, so that nothing is
 * written over before it is read.
 */
export function widenU16(
  address: usize,
  count: i32,
  offset: i32,
  scale: f64,
  zero: f64,
  blank: i32,
): void {
  for (let i = count - 1; i >= 0; i--) {
    const stored = i32(load<u16>(address + (i << 1)));
    const value = stored == blank ? f32(NaN) : finiteOrNaN(zero + scale * f64(stored - offset));
    store<f32>(address + (i << 2), value);
  }
}

/** The largest of `count` u16; 0 when there are none. */
export function maxU16(address: usize, count: i32): i32 {
  let lanes = i16x8.splat(0);
  let i = 0;
  for (; i + 8 <= count; i += 8) lanes = i16x8.max_u(lanes, v128.load(address + (i << 1)));
  // Fold the eight lanes in half three times.
  lanes = i16x8.max_u(lanes, v128.shuffle<u16>(lanes, lanes, 4, 5, 6, 7, 0, 1, 2, 3));
  lanes = i16x8.max_u(lanes, v128.shuffle<u16>(lanes, lanes, 2, 3, 0, 1, 6, 7, 4, 5));
  lanes = i16x8.max_u(lanes, v128.shuffle<u16>(lanes, lanes, 1, 0, 3, 2, 5, 4, 7, 6));
  let largest = i32(i16x8.extract_lane_u(lanes, 0));
  for (; i < count; i++) largest = max(largest, i32(load<u16>(address + (i << 1))));
  return largest;
}

/** How many of `count` u16 are in [low, high]. */
export function countU16(address: usize, count: i32, low: i32, high: i32): i32 {
  const lows = i16x8.splat(i16(low));
  const highs = i16x8.splat(i16(high));
  let counted = 0;
  let i = 0;
  for (; i + 8 <= count; i += 8) {
    const word = v128.load(address + (i << 1));
    const inside = v128.and(i16x8.ge_u(word, lows), i16x8.le_u(word, highs));
    counted += popcnt<i32>(i16x8.bitmask(inside));
  }
  for (; i < count; i++) {
    const value = i32(load<u16>(address + (i << 1)));
    if (value >= low && value <= high) counted++;
  }
  return counted;
}

/** The largest of `count` floats that is not NaN; -Infinity when there is none. */
export function maxF32(address: usize, count: i32): f32 {
  let lanes = f32x4.splat(-f32(Infinity));
  let i = 0;
  // pmax(a, b) is a < b ? b : a, which keeps `lanes` where the pixel is NaN.
  for (; i + 4 <= count; i += 4) lanes = f32x4.pmax(lanes, v128.load(address + (i << 2)));
  lanes = f32x4.pmax(lanes, v128.shuffle<u32>(lanes, lanes, 2, 3, 0, 1));
  lanes = f32x4.pmax(lanes, v128.shuffle<u32>(lanes, lanes, 1, 0, 3, 2));
  let largest = f32x4.extract_lane(lanes, 0);
  for (; i < count; i++) {
    const value = load<f32>(address + (i << 2));
    if (value > largest) largest = value;
  }
  return largest;
}

/** How many of `count` floats are in [low, high]; NaN never is. */
export function countF32(address: usize, count: i32, low: f32, high: f32): i32 {
  const lows = f32x4.splat(low);
  const highs = f32x4.splat(high);
  let counted = 0;
  let i = 0;
  for (; i + 4 <= count; i += 4) {
    const word = v128.load(address + (i << 2));
    const inside = v128.and(f32x4.ge(word, lows), f32x4.le(word, highs));
    counted += popcnt<i32>(i32x4.bitmask(inside));
  }
  for (; i < count; i++) {
    const value = load<f32>(address + (i << 2));
    if (value >= low && value <= high) counted++;
  }
  return counted;
}

// @ts-ignore: decorator
@inline
function swap32(word: v128): v128 {
  return v128.shuffle<u8>(word, word, 3, 2, 1, 0, 7, 6, 5, 4, 11, 10, 9, 8, 15, 14, 13, 12);
}

// @ts-ignore: decorator
@inline
function swap64(word: v128): v128 {
  return v128.shuffle<u8>(word, word, 7, 6, 5, 4, 3, 2, 1, 0, 15, 14, 13, 12, 11, 10, 9, 8);
}

// @ts-ignore: decorator
@inline
function upper(word: v128): v128 {
  return v128.shuffle<u64>(word, word, 1, 0);
}

// @ts-ignore: decorator
@inline
function scaled(values: v128, scale: f64, zero: f64): v128 {
  return f64x2.add(f64x2.mul(values, f64x2.splat(scale)), f64x2.splat(zero));
}

/** Two pairs of doubles to four floats. */
// @ts-ignore: decorator
@inline
function joined(low: v128, high: v128): v128 {
  return v128.shuffle<u64>(f32x4.demote_f64x2_zero(low), f32x4.demote_f64x2_zero(high), 0, 2);
}

/** Four floats with the infinite ones made NaN. */
// @ts-ignore: decorator
@inline
function finite(values: v128): v128 {
  const infinite = f32x4.eq(f32x4.abs(values), f32x4.splat(f32(Infinity)));
  return v128.or(values, infinite);
}

// @ts-ignore: decorator
@inline
function finiteOrNaN(value: f64): f32 {
  const single = f32(value);
  return isFinite<f32>(single) ? single : f32(NaN);
}
