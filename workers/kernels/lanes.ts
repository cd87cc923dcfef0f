// Elementary functions on four f32 lanes, from their series.

/** log2 of positive normal numbers, to some 3e-7: exponent plus the atanh series of the mantissa. */
// @ts-ignore: decorator
@inline
export function log2x4(t: v128): v128 {
  // Shift so that the mantissa lies between sqrt(1/2) and sqrt(2): 0x3f3504f3 is sqrt(1/2) as bits.
  const shifted = i32x4.sub(t, i32x4.splat(0x3f3504f3));
  const exponent = i32x4.shr_s(shifted, 23);
  const mantissa = i32x4.sub(t, i32x4.shl(exponent, 23));
  const one = f32x4.splat(1);
  const s = f32x4.div(f32x4.sub(mantissa, one), f32x4.add(mantissa, one));
  const s2 = f32x4.mul(s, s);
  let sum = f32x4.splat(1.0 / 7);
  sum = f32x4.add(f32x4.mul(sum, s2), f32x4.splat(1.0 / 5));
  sum = f32x4.add(f32x4.mul(sum, s2), f32x4.splat(1.0 / 3));
  sum = f32x4.add(f32x4.mul(sum, s2), one);
  return f32x4.add(f32x4.convert_i32x4_s(exponent), f32x4.mul(f32x4.mul(s, sum), f32x4.splat(2.885390081777927)));
}

/** Adding and taking away this rounds to whole numbers, and leaves them in the low bits of the sum. */
const ROUNDER: f32 = 12582912; // 1.5 * 2^23

/** 2^x for x below 127, to some 2e-7; from -125 down as at -125. */
// @ts-ignore: decorator
@inline
export function exp2x4(x: v128): v128 {
  const clamped = f32x4.pmax(x, f32x4.splat(-125));
  const rounded = f32x4.add(clamped, f32x4.splat(ROUNDER));
  const f = f32x4.sub(clamped, f32x4.sub(rounded, f32x4.splat(ROUNDER)));
  // The series of 2^f, f between -1/2 and 1/2: powers of ln 2 over factorials.
  let sum = f32x4.splat(1.5403530e-4);
  sum = f32x4.add(f32x4.mul(sum, f), f32x4.splat(1.3333558e-3));
  sum = f32x4.add(f32x4.mul(sum, f), f32x4.splat(9.6181291e-3));
  sum = f32x4.add(f32x4.mul(sum, f), f32x4.splat(5.5504109e-2));
  sum = f32x4.add(f32x4.mul(sum, f), f32x4.splat(2.4022651e-1));
  sum = f32x4.add(f32x4.mul(sum, f), f32x4.splat(6.9314718e-1));
  sum = f32x4.add(f32x4.mul(sum, f), f32x4.splat(1));
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
