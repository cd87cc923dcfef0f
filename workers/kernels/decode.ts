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
