/**
 * RICE_1 (FITS Standard 4.0, 10.4.1): differences of neighbours, folded to be positive, in blocks; each block says how
 * many low bits are stored as they are, the rest of each number is a run of zeros ended by a one.
 */

/** For pixels of 1, 2 and 4 bytes: bits of a block's code, and the code that says "stored without packing". */
const SETUP: Record<number, { codeBits: number; rawCode: number }> = {
  1: { codeBits: 3, rawCode: 6 },
  2: { codeBits: 4, rawCode: 14 },
  4: { codeBits: 5, rawCode: 25 },
};

export const isRicePixel = (bytePix: number): boolean => bytePix in SETUP;

/**
 * Unpacks `count` numbers into `target`: unsigned for 1 byte, signed for 2 and 4. Returns false where the bytes end
 * too early.
 */
export function unpackRice(
  bytes: Uint8Array,
  bytePix: number,
  blockSize: number,
  target: Int32Array,
  count: number,
): boolean {
  const { codeBits, rawCode } = SETUP[bytePix];
  const rawBits = 8 * bytePix;
  // Numbers wrap at the pixel's own width: (n << shift) >> shift; those of one byte have no sign.
  const shift = 32 - rawBits;
  const mask = bytePix === 1 ? 0xff : -1;
  if (bytes.length < bytePix) return false;
  let last = 0;
  for (let i = 0; i < bytePix; i++) last = (last << 8) | bytes[i];
  last = ((last << shift) >> shift) & mask;

  const end = bytes.length;
  let at = bytePix;
  let held = 0; // the low `heldBits` bits of `held` are read but not used; bits above them are 0
  let heldBits = 0;
  for (let i = 0; i < count;) {
    const blockEnd = Math.min(count, i + blockSize);
    while (heldBits < codeBits) {
      if (at >= end) return false;
      held = (held << 8) | bytes[at++];
      heldBits += 8;
    }
    heldBits -= codeBits;
    const code = (held >>> heldBits) - 1;
    held &= (1 << heldBits) - 1;

    if (code < 0) {
      while (i < blockEnd) target[i++] = last;
    } else if (code === rawCode) {
      for (; i < blockEnd; i++) {
        let difference = 0;
        let wanted = rawBits;
        while (wanted > 0) {
          if (heldBits === 0) {
            if (at >= end) return false;
            held = bytes[at++];
            heldBits = 8;
          }
          const taken = Math.min(wanted, heldBits);
          heldBits -= taken;
          wanted -= taken;
          difference = (difference << taken) | (held >>> heldBits);
          held &= (1 << heldBits) - 1;
        }
        last = (((last + ((difference >>> 1) ^ -(difference & 1))) << shift) >> shift) & mask;
        target[i] = last;
      }
    } else {
      for (; i < blockEnd; i++) {
        let zeros = 0;
        while (held === 0) {
          if (at >= end) return false;
          zeros += heldBits;
          held = bytes[at++];
          heldBits = 8;
        }
        const leading = heldBits - (32 - Math.clz32(held));
        zeros += leading;
        heldBits -= leading + 1;
        held &= (1 << heldBits) - 1;
        while (heldBits < code) {
          if (at >= end) return false;
          held = (held << 8) | bytes[at++];
          heldBits += 8;
        }
        heldBits -= code;
        const difference = (zeros << code) | (held >>> heldBits);
        held &= (1 << heldBits) - 1;
        last = (((last + ((difference >>> 1) ^ -(difference & 1))) << shift) >> shift) & mask;
        target[i] = last;
      }
    }
  }
  return true;
}

/** The most pixels that so many bytes can hold: a block of equal pixels takes only its code. */
export const mostRicePixels = (bytes: number, bytePix: number, blockSize: number): number =>
  (Math.ceil((8 * bytes) / SETUP[bytePix].codeBits) + 1) * blockSize;
