import { Garbled } from './inflate.ts';

/** Numbers from bits, highest first; past the end it throws Garbled. */
class Bits {
  constructor(
    private readonly bytes: Uint8Array,
    public at: number,
  ) {}

  take(count: number): number {
    if (this.at + count > 8 * this.bytes.length) throw new Garbled();
    let value = 0;
    for (let left = count; left > 0;) {
      const inByte = 8 - (this.at & 7);
      const part = Math.min(left, inByte);
      const bits = (this.bytes[this.at >> 3] >> (inByte - part)) & ((1 << part) - 1);
      value = value * 2 ** part + bits;
      this.at += part;
      left -= part;
    }
    return value;
  }
}

const BLOCK = 0x314159265359;
const END = 0x177245385090;
const GROUP_SYMBOLS = 50;
const PIECE_BYTES = 64 << 10;

export interface Block {
  /** The unpacked bytes in pieces; null at the end of the file. Throws Garbled when their check sum is wrong. */
  content: Iterable<Uint8Array> | null;
  /** Where the next block begins. */
  endBit: number;
}

/** Unpacks the block that begins at a bit of some bytes; null when it makes no sense. */
export function unpackBlock(packed: Uint8Array, bit: number, mostBytes: number): Block | null {
  try {
    const bits = new Bits(packed, bit);
    const magic = bits.take(48);
    const check = bits.take(32);
    if (magic === END) return { content: null, endBit: bits.at };
    if (magic !== BLOCK || bits.take(1) === 1) return null; // the other bit: scrambled, unused since 1996
    const origin = bits.take(24);
    const letters = usedLetters(bits);
    const transformed = symbols(bits, letters, mostBytes);
    if (origin >= transformed.length) return null;
    return { content: plainBytes(transformed, origin, check), endBit: bits.at };
  } catch (error) {
    if (error instanceof Garbled) return null;
    throw error;
  }
}

function usedLetters(bits: Bits): Uint8Array {
  const ranges = bits.take(16);
  const letters: number[] = [];
  for (let range = 0; range < 16; range++) {
    if (!(ranges & (0x8000 >> range))) continue;
    const used = bits.take(16);
    for (let i = 0; i < 16; i++) if (used & (0x8000 >> i)) letters.push(16 * range + i);
  }
  if (letters.length === 0) throw new Garbled();
  return Uint8Array.from(letters);
}

/** The block before the inverse transform: Huffman codes, then runs and moves to the front. */
function symbols(bits: Bits, letters: Uint8Array, mostBytes: number): Uint8Array {
  const tables = bits.take(3);
  const selectorCount = bits.take(15);
  if (tables < 2 || tables > 6 || selectorCount === 0) throw new Garbled();
  const order = [0, 1, 2, 3, 4, 5].slice(0, tables);
  const selectors = new Uint8Array(selectorCount);
  for (let i = 0; i < selectorCount; i++) {
    let place = 0;
    while (bits.take(1)) if (++place >= tables) throw new Garbled();
    const [table] = order.splice(place, 1);
    order.unshift(table);
    selectors[i] = table;
  }
  const codes = Array.from({ length: tables }, () => new Huffman(bits, letters.length + 2));

  const front = letters.slice();
  const endOfBlock = letters.length + 1;
  const out = new Uint8Array(mostBytes);
  let filled = 0;
  let runLength = 0;
  let runWeight = 1;
  for (let group = 0; group < selectorCount; group++) {
    const code = codes[selectors[group]];
    for (let i = 0; i < GROUP_SYMBOLS; i++) {
      const symbol = code.next(bits);
      if (symbol < 2) {
        // A run of the front letter; its length in a number system with the digits 1 and 2.
        runLength += (symbol + 1) * runWeight;
        runWeight *= 2;
        if (runLength > mostBytes) throw new Garbled();
        continue;
      }
      if (filled + runLength > mostBytes) throw new Garbled();
      out.fill(front[0], filled, filled + runLength);
      filled += runLength;
      runLength = 0;
      runWeight = 1;
      if (symbol === endOfBlock) return out.subarray(0, filled);
      if (filled >= mostBytes) throw new Garbled();
      const letter = front[symbol - 1];
      front.copyWithin(1, 0, symbol - 1);
      front[0] = out[filled++] = letter;
    }
  }
  throw new Garbled();
}

/** One table of codes, given by their lengths; codes of one length follow each other. */
class Huffman {
  private readonly limit: number[] = [];
  private readonly base: number[] = [];
  private readonly sorted: number[] = [];

  constructor(bits: Bits, count: number) {
    const lengths: number[] = [];
    let length = bits.take(5);
    for (let symbol = 0; symbol < count; symbol++) {
      while (bits.take(1)) length += bits.take(1) ? -1 : 1;
      if (length < 1 || length > 20) throw new Garbled();
      lengths.push(length);
    }
    let code = 0;
    for (let size = 1; size <= 20; size++) {
      code *= 2;
      this.base[size] = this.sorted.length - code;
      lengths.forEach((each, symbol) => each === size && this.sorted.push(symbol));
      code = this.sorted.length - this.base[size];
      this.limit[size] = code;
    }
  }

  next(bits: Bits): number {
    let code = 0;
    for (let size = 1; size <= 20; size++) {
      code = 2 * code + bits.take(1);
      if (code < this.limit[size]) {
        const symbol = this.sorted[code + this.base[size]];
        if (symbol === undefined) break;
        return symbol;
      }
    }
    throw new Garbled();
  }
}

/**
 * Undoes the Burrows-Wheeler transform, then the runs that were packed before it (four equal bytes in a row are followed
 * by how many more there are), and holds the result against its check sum.
 */
function* plainBytes(last: Uint8Array, origin: number, check: number): Generator<Uint8Array> {
  const following = order(last);
  let piece = new Uint8Array(PIECE_BYTES + 256);
  let filled = 0;
  let crc = 0xffffffff;
  let previous = -1;
  let equal = 0;
  for (let i = 0, at = following[origin]; i < last.length; i++, at = following[at]) {
    const byte = last[at];
    const copies = equal === 4 ? byte : 1;
    const letter = equal === 4 ? previous : byte;
    for (let copy = 0; copy < copies; copy++) {
      piece[filled++] = letter;
      crc = (crc << 8) ^ CRC[(crc >>> 24) ^ letter];
    }
    if (equal === 4) equal = 0;
    else equal = equal > 0 && byte === previous ? equal + 1 : 1;
    previous = letter;
    if (filled >= PIECE_BYTES) {
      yield piece.subarray(0, filled);
      piece = new Uint8Array(PIECE_BYTES + 256);
      filled = 0;
    }
  }
  if (~crc >>> 0 !== check) throw new Garbled();
  yield piece.subarray(0, filled);
}

/** Where the byte after each byte of the transformed block stands. */
function order(last: Uint8Array): Uint32Array {
  const starts = new Uint32Array(256);
  for (const letter of last) starts[letter]++;
  let sum = 0;
  for (let letter = 0; letter < 256; letter++) {
    const count = starts[letter];
    starts[letter] = sum;
    sum += count;
  }
  const following = new Uint32Array(last.length);
  for (let i = 0; i < last.length; i++) following[starts[last[i]]++] = i;
  return following;
}

/** The usual polynomial 0x04c11db7, highest bit first. */
const CRC = Uint32Array.from({ length: 256 }, (_, byte) => {
  let crc = byte << 24;
  for (let bit = 0; bit < 8; bit++) crc = crc & 0x80000000 ? (crc << 1) ^ 0x04c11db7 : crc << 1;
  return crc;
});
