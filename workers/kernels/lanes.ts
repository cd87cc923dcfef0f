// Elementary functions on four f32 lanes, from their series.

const LN2: f32 = 0.6931471805599453;

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
  return f32x4.add(f32x4.convert_i32x4_s(exponent), f32x4.mul(f32x4.mul(s, sum), f32x4.splat(2 / LN2)));
}

/** 2^x for x in (-126, 127), to some 2e-7; below that 0. */
// @ts-ignore: decorator
@inline
export function exp2x4(x: v128): v128 {
  const clamped = f32x4.max(x, f32x4.splat(-126));
  const whole = f32x4.nearest(clamped);
  const f = f32x4.mul(f32x4.sub(clamped, whole), f32x4.splat(LN2));
  const one = f32x4.splat(1);
  let sum = f32x4.splat(1.0 / 720);
  sum = f32x4.add(f32x4.mul(sum, f), f32x4.splat(1.0 / 120));
  sum = f32x4.add(f32x4.mul(sum, f), f32x4.splat(1.0 / 24));
  sum = f32x4.add(f32x4.mul(sum, f), f32x4.splat(1.0 / 6));
  sum = f32x4.add(f32x4.mul(sum, f), f32x4.splat(0.5));
  sum = f32x4.add(f32x4.mul(sum, f), one);
  sum = f32x4.add(f32x4.mul(sum, f), one);
  const power = i32x4.shl(i32x4.add(i32x4.trunc_sat_f32x4_s(whole), i32x4.splat(127)), 23);
  return f32x4.mul(sum, power);
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
