import { ByteReader } from './bytes.ts';
import { Garbled } from './inflate.ts';
import type { Packing } from './packing.ts';

const CLEAR = 256;
const PIECE_BYTES = 64 << 10;

/**
 * The old Unix compress (.Z): LZW with codes of 9 to 16 bits, lowest bit first. Codes come in groups of eight, so that a
 * group fills whole bytes; where the width changes, what is left of a group is padding. Welch 1984 describes the method;
 * the layout is that of the POSIX utility.
 */
export const COMPRESS: Packing = {
  name: 'Unix compress (.Z)',
  is: (head) => head[0] === 0x1f && head[1] === 0x9d,
  async *unpack(source, signal) {
    const bytes = new ByteReader(source, source.sizeBytes, signal);
    try {
      const [, , flags] = await bytes.take(3);
      const mostBits = flags & 31;
      if (flags === undefined || mostBits < 9 || mostBits > 16) throw new Garbled();
      yield* strings(bytes, mostBits, (flags & 0x80) !== 0);
    } finally {
      await bytes.close();
    }
  },
};

async function* strings(bytes: ByteReader, mostBits: number, mayClear: boolean) {
  // Each code's string is the string of `before` and one more letter.
  const before = new Uint16Array(1 << mostBits);
  const letter = new Uint8Array(1 << mostBits);
  const backwards = new Uint8Array((1 << mostBits) + 1);
  for (let code = 0; code < 256; code++) letter[code] = code;
  const firstFree = mayClear ? CLEAR + 1 : CLEAR;
  const piece = new Uint8Array(PIECE_BYTES + backwards.length);
  let filled = 0;
  let width = 9;
  let free = firstFree;
  let previous = -1;
  let first = 0;
  for (;;) {
    const group = await bytes.take(width);
    const codes = Math.floor((8 * group.length) / width);
    for (let i = 0; i < codes; i++) {
      const code = codeAt(group, i * width, width);
      if (mayClear && code === CLEAR) {
        free = firstFree;
        width = 9;
        previous = -1;
        break;
      }
      if (code > free || (code === free && previous < 0) || (previous < 0 && code > 255)) throw new Garbled();
      // A code that is only now coming into being stands for the previous string and its own first letter.
      let rest = code === free ? previous : code;
      let length = 0;
      if (code === free) backwards[length++] = first;
      while (rest > 255) {
        backwards[length++] = letter[rest];
        rest = before[rest];
      }
      backwards[length++] = first = rest;
      while (length > 0) piece[filled++] = backwards[--length];
      if (previous >= 0 && free < 1 << mostBits) {
        before[free] = previous;
        letter[free++] = first;
      }
      previous = code;
      if (free > (1 << width) - 1 && width < mostBits) {
        width++;
        break;
      }
    }
    if (filled >= PIECE_BYTES || group.length < width) {
      yield piece.slice(0, filled);
      filled = 0;
    }
    if (group.length === 0) return;
  }
}

/** `width` bits from bit `at` on, lowest first. */
function codeAt(group: Uint8Array, at: number, width: number): number {
  const byte = at >> 3;
  const word = group[byte] | (group[byte + 1] << 8) | (group[byte + 2] << 16);
  return (word >> (at & 7)) & ((1 << width) - 1);
}
