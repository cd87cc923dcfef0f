/**
 * The bit planes of HCOMPRESS_1 (FITS Standard 4.0, 10.4.4; R. White, Space Telescope Science Institute): each plane of
 * a rectangle of coefficients is a tree of 2 x 2 blocks, written from the root down, a code only where a block is not
 * empty.
 */
export class BitReader {
  private held = 0;
  private heldBits = 0;

  constructor(
    private readonly bytes: Uint8Array,
    private at: number,
  ) {}

  /** True when more was read than there is; what is read beyond the end is 0. */
  get overrun(): boolean {
    return 8 * this.at - this.heldBits > 8 * this.bytes.length;
  }

  /** The next `count` (at most 16) bits without passing them. */
  peek(count: number): number {
    while (this.heldBits < count) {
      this.held = ((this.held & 0xffff) << 8) | (this.at < this.bytes.length ? this.bytes[this.at] : 0);
      this.at++;
      this.heldBits += 8;
    }
    return (this.held >>> (this.heldBits - count)) & ((1 << count) - 1);
  }

  pass(count: number): void {
    this.heldBits -= count;
  }

  bits(count: number): number {
    const value = this.peek(count);
    this.heldBits -= count;
    return value;
  }

  /** Goes on at the next whole byte; whole bytes that were only peeked at are not passed. */
  align(): void {
    this.heldBits -= this.heldBits & 7;
    this.at -= this.heldBits >> 3;
    this.heldBits = 0;
  }
}

/** Which of the 4 pixels of a block are set (8 = first, 1 = last), by the code's length and the code. */
const CODES: Record<number, Record<number, number>> = {
  3: { 0b000: 1, 0b001: 2, 0b010: 4, 0b011: 8 },
  4: { 0b1000: 3, 0b1001: 5, 0b1010: 10, 0b1011: 12, 0b1100: 15 },
  5: { 0b11010: 6, 0b11011: 7, 0b11100: 9, 0b11101: 11, 0b11110: 13 },
  6: { 0b111110: 0, 0b111111: 14 },
};
const LONGEST_CODE = 6;
/** By the next six bits: the block, and in the upper half of the byte the length of its code. */
const LOOKUP = new Uint8Array(1 << LONGEST_CODE);
for (const [length, codes] of Object.entries(CODES))
  for (const [code, block] of Object.entries(codes)) {
    const free = LONGEST_CODE - Number(length);
    LOOKUP.fill((Number(length) << 4) | block, Number(code) << free, (Number(code) + 1) << free);
  }

function readBlock(reader: BitReader): number {
  const found = LOOKUP[reader.peek(LONGEST_CODE)];
  reader.pass(found >> 4);
  return found & 15;
}

/** Where the coefficients of a rectangle lie: `rows` x `cols` from `at`, `stride` from row to row. */
export interface Rectangle {
  at: number;
  stride: number;
  rows: number;
  cols: number;
}

/** Reads all bit planes of a rectangle into `target`, which must be 0. Returns false where the stream makes no sense. */
export function readPlanes(
  reader: BitReader,
  planes: number,
  target: Float64Array,
  rectangle: Rectangle,
): boolean {
  for (let plane = planes - 1; plane >= 0; plane--) {
    const kind = reader.bits(4);
    if (kind !== 0 && kind !== 15) return false;
    const blocks = kind === 15 ? readTree(reader, rectangle) : readDirect(reader, rectangle);
    if (reader.overrun) return false;
    setPlane(blocks, 2 ** plane, target, rectangle);
  }
  return true;
}

/** A plane that a tree would not shorten: its blocks as they are, four bits each. */
function readDirect(reader: BitReader, { rows, cols }: Rectangle): Uint8Array {
  const blocks = new Uint8Array(half(rows) * half(cols));
  for (let i = 0; i < blocks.length; i++) blocks[i] = reader.bits(4);
  return blocks;
}

const half = (length: number) => (length + 1) >> 1;
/** ceil(length / 2^level), the length that many levels above the pixels. */
const above = (length: number, level: number) => Math.ceil(length / 2 ** level);

function readTree(reader: BitReader, { rows, cols }: Rectangle): Uint8Array {
  let blocks = Uint8Array.of(readBlock(reader));
  let width = 1;
  for (let level = depth(Math.max(rows, cols)) - 1; level >= 1; level--) {
    const [nextRows, nextCols] = [above(rows, level), above(cols, level)];
    const next = new Uint8Array(nextRows * nextCols);
    // Codes follow from the last block to the first.
    for (let row = nextRows - 1; row >= 0; row--)
      for (let col = nextCols - 1; col >= 0; col--)
        if (isSet(blocks[(row >> 1) * width + (col >> 1)], row, col))
          next[row * nextCols + col] = readBlock(reader);
    blocks = next;
    width = nextCols;
  }
  return blocks;
}

/** Levels of the tree over `length` pixels: the least n with 2^n >= length. */
export const depth = (length: number): number => Math.ceil(Math.log2(Math.max(1, length)));

const isSet = (block: number, row: number, col: number) => (block >> (3 - 2 * (row & 1) - (col & 1))) & 1;

/** Adds the weight of a plane to every coefficient whose bit is set; most blocks of the upper planes are empty. */
function setPlane(blocks: Uint8Array, weight: number, target: Float64Array, rectangle: Rectangle): void {
  const { at, stride, rows, cols } = rectangle;
  const width = half(cols);
  for (let row = 0, index = 0; row < rows; row += 2)
    for (let col = 0; col < 2 * width; col += 2, index++) {
      const block = blocks[index];
      if (block === 0) continue;
      const first = at + row * stride + col;
      const hasRight = col + 1 < cols;
      const hasBelow = row + 1 < rows;
      if (block & 8) target[first] += weight;
      if (block & 4 && hasRight) target[first + 1] += weight;
      if (block & 2 && hasBelow) target[first + stride] += weight;
      if (block & 1 && hasRight && hasBelow) target[first + stride + 1] += weight;
    }
}
