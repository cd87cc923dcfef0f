// Elementary functions on four f32 lanes, from their series: in pairs of terms, so that few have to wait for each other.

// Compilers do by themselves what costs most in a short loop: they write a constant out of instructions each time it is
// used, and compute anew inside, divisions and all, what was computed before it. What comes from memory they leave
// where it was read: so constants lie in a table, and what a loop needs goes through `held`.

/** What `constant` reads, by the place in bytes. */
const CONSTANTS: usize = memory.data<f32>([
  1.0, // 0
  1.0 / 7, 1.0 / 5, 1.0 / 3, 2.885390081777927, // 4: log2x4
  -125, 12582912, // 20: exp2x4
  1.5403530e-4, 1.3333558e-3, 9.6181291e-3, 5.5504109e-2, 2.4022651e-1, 6.9314718e-1, // 28
  0.70710677, // 52: sqrt(1/2), of whose bits log2x4 makes use
]);

// @ts-ignore: decorator
@inline
function constant(at: usize): v128 {
  return v128.load32_splat(CONSTANTS + at);
}

/** Room for what a kernel's loop needs; kernels that hold values call no other that does meanwhile. */
const HELD: usize = memory.data(28 * 16, 16);

/** A value that a loop needs, by way of memory: `slot` from 0 to 27. */
// @ts-ignore: decorator
@inline
export function held(slot: usize, value: v128): v128 {
  v128.store(HELD + (slot << 4), value);
  return v128.load(HELD + (slot << 4));
}

/** What was held last in a slot. */
// @ts-ignore: decorator
@inline
export function again(slot: usize): v128 {
  return v128.load(HELD + (slot << 4));
}

/** A number that a loop needs, in all four lanes. */
// @ts-ignore: decorator
@inline
export function heldF32(slot: usize, value: f64): v128 {
  return held(slot, f32x4.splat(<f32>value));
}

/** log2 of positive normal numbers, to some 3e-7: exponent plus the atanh series of the mantissa. */
// @ts-ignore: decorator
@inline
export function log2x4(t: v128): v128 {
  // Shift so that the mantissa lies between sqrt(1/2) and sqrt(2).
  const shifted = i32x4.sub(t, constant(52));
  const exponent = i32x4.shr_s(shifted, 23);
  const mantissa = i32x4.sub(t, i32x4.shl(exponent, 23));
  const one = constant(0);
  const s = f32x4.div(f32x4.sub(mantissa, one), f32x4.add(mantissa, one));
  const s2 = f32x4.mul(s, s);
  const upper = f32x4.add(f32x4.mul(constant(4), s2), constant(8));
  const lower = f32x4.add(f32x4.mul(constant(12), s2), one);
  const sum = f32x4.add(f32x4.mul(upper, f32x4.mul(s2, s2)), lower);
  return f32x4.add(f32x4.convert_i32x4_s(exponent), f32x4.mul(f32x4.mul(s, sum), constant(16)));
}

/** 2^x for x below 127, to some 2e-7; from -125 down as at -125. */
// @ts-ignore: decorator
@inline
export function exp2x4(x: v128): v128 {
  const clamped = f32x4.pmax(x, constant(20));
  // Adding and taking away 1.5 * 2^23 rounds to whole numbers, and leaves them in the low bits of the sum.
  const rounder = constant(24);
  const rounded = f32x4.add(clamped, rounder);
  const f = f32x4.sub(clamped, f32x4.sub(rounded, rounder));
  // The series of 2^f, f between -1/2 and 1/2: powers of ln 2 over factorials.
  const f2 = f32x4.mul(f, f);
  const upper = f32x4.add(f32x4.mul(constant(28), f2), f32x4.add(f32x4.mul(constant(32), f), constant(36)));
  const middle = f32x4.add(f32x4.mul(constant(40), f), constant(44));
  const lower = f32x4.add(f32x4.mul(constant(48), f), constant(0));
  const sum = f32x4.add(f32x4.mul(f32x4.add(f32x4.mul(upper, f2), middle), f2), lower);
  return i32x4.add(sum, i32x4.shl(rounded, 23));
}

/** Sum of the four lanes. */
// @ts-ignore: decorator
@inline
export function sumLanes(v: v128): f64 {
  return (
    <f64>f32x4.extract_lane(v, 0) +
    <f64>f32x4.extract_lane(v, 1) +
    <f64>f32x4.extract_lane(v, 2) +
    <f64>f32x4.extract_lane(v, 3)
  );
}

/** The largest of the four lanes. */
// @ts-ignore: decorator
@inline
export function largestLane(v: v128): f64 {
  return max(
    max(<f64>f32x4.extract_lane(v, 0), <f64>f32x4.extract_lane(v, 1)),
    max(<f64>f32x4.extract_lane(v, 2), <f64>f32x4.extract_lane(v, 3)),
  );
}
