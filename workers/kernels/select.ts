/**
 * The k-th smallest of `count` f32 values at `address` (k from 0); for few values, 64 at most. The value is sought that has at
 * most k below it and more than k not above it: so many comparisons need no branches. Behind the values there must be
 * room for three more.
 */
export function selectF32(address: usize, count: i32, k: i32): f32 {
  const end = address + ((<usize>count) << 2);
  const padded = address + ((<usize>((count + 3) & ~3)) << 2);
  for (let at = end; at < padded; at += 4) store<f32>(at, <f32>Infinity);
  for (let candidate = address; candidate < end; candidate += 4) {
    const value = v128.load32_splat(candidate);
    let below = i32x4.splat(0);
    let notAbove = i32x4.splat(0);
    // A comparison that holds is -1.
    for (let at = address; at < padded; at += 16) {
      const other = v128.load(at);
      below = i32x4.sub(below, f32x4.lt(other, value));
      notAbove = i32x4.sub(notAbove, f32x4.le(other, value));
    }
    if (sum(below) <= k && sum(notAbove) > k) return load<f32>(candidate);
  }
  return load<f32>(address);
}

// @ts-ignore: decorator
@inline
function sum(lanes: v128): i32 {
  return i32x4.extract_lane(lanes, 0) + i32x4.extract_lane(lanes, 1) + i32x4.extract_lane(lanes, 2) + i32x4.extract_lane(lanes, 3);
}
