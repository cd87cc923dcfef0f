import type { Numbers, NumberType } from '../picture.ts';

const PLATFORM_IS_LITTLE_ENDIAN = new Uint8Array(new Uint16Array([1]).buffer)[0] === 1;

/** How the numbers of a chunk are stored. */
export interface Stored {
  numbers: NumberType;
  predictor: number;
  littleEndian: boolean;
  /** Numbers of one pixel in this chunk, and pixels of one of its rows. */
  samples: number;
  widthPx: number;
}

export const rowBytes = ({ numbers, samples, widthPx }: Stored): number =>
  Math.ceil((widthPx * samples * numbers.bits) / 8);

/** A chunk's bytes, which it may change, as numbers: predictor undone, in the platform's byte order. */
export function numbersOf(bytes: Uint8Array, stored: Stored): Numbers {
  const { bits, kind } = stored.numbers;
  if (bits % 8 !== 0) return unpackedBits(bytes, stored);
  const size = bits / 8;
  const floating = stored.predictor === 3 && kind === 'float';
  if (floating) undoBytePlanes(bytes, stored);
  // The floating-point predictor leaves the highest byte first, whatever the file's order.
  if ((floating ? false : stored.littleEndian) !== PLATFORM_IS_LITTLE_ENDIAN) swap(bytes, size);
  if (stored.predictor === 2) undoDifferences(asUnsigned(bytes, size), stored);
  const whole = bytes.buffer as ArrayBuffer;
  const length = Math.floor(bytes.length / size);
  const at = bytes.byteOffset;
  if (kind === 'float')
    return size === 4 ? new Float32Array(whole, at, length) : new Float64Array(whole, at, length);
  if (kind === 'unsigned') return asUnsigned(bytes, size);
  if (size === 1) return new Int8Array(whole, at, length);
  return size === 2 ? new Int16Array(whole, at, length) : new Int32Array(whole, at, length);
}

function asUnsigned(bytes: Uint8Array, size: number): Uint8Array | Uint16Array | Uint32Array {
  const length = Math.floor(bytes.length / size);
  if (size === 1) return bytes;
  const whole = bytes.buffer as ArrayBuffer;
  return size === 2
    ? new Uint16Array(whole, bytes.byteOffset, length)
    : new Uint32Array(whole, bytes.byteOffset, (length * size) / 4);
}

/** TIFF 6.0, section 14: each number is the difference to its left neighbour of the same colour, modulo its size. */
function undoDifferences(
  numbers: Uint8Array | Uint16Array | Uint32Array,
  { samples, widthPx }: Stored,
): void {
  const row = widthPx * samples;
  for (let start = 0; start < numbers.length; start += row)
    for (let i = start + samples; i < start + row && i < numbers.length; i++)
      numbers[i] += numbers[i - samples];
}

/**
 * Adobe's Technical Note 3: in each row first all highest bytes of the numbers, then all second ones and so on, each byte
 * the difference to the one of the pixel before.
 */
function undoBytePlanes(bytes: Uint8Array, stored: Stored): void {
  const { samples, widthPx, numbers } = stored;
  const size = numbers.bits / 8;
  const count = samples * widthPx;
  const row = count * size;
  const planes = new Uint8Array(row);
  for (let start = 0; start + row <= bytes.length; start += row) {
    for (let i = start + samples; i < start + row; i++) bytes[i] += bytes[i - samples];
    planes.set(bytes.subarray(start, start + row));
    for (let i = 0; i < count; i++)
      for (let part = 0; part < size; part++) bytes[start + i * size + part] = planes[part * count + i];
  }
}

function swap(bytes: Uint8Array, size: number): void {
  for (let at = 0; at + size <= bytes.length; at += size)
    for (let low = at, high = at + size - 1; low < high; low++, high--) {
      const kept = bytes[low];
      bytes[low] = bytes[high];
      bytes[high] = kept;
    }
}

/** Numbers of 9 to 15 bits one behind the other, highest bit first; each row begins with a byte. */
function unpackedBits(bytes: Uint8Array, stored: Stored): Uint16Array {
  const { bits } = stored.numbers;
  const perRow = stored.widthPx * stored.samples;
  const stride = rowBytes(stored);
  const rows = Math.floor(bytes.length / stride);
  const numbers = new Uint16Array(rows * perRow);
  const mask = 2 ** bits - 1;
  for (let row = 0; row < rows; row++)
    for (let i = 0; i < perRow; i++) {
      const bit = i * bits;
      const at = row * stride + (bit >> 3);
      const word = (bytes[at] << 16) | (bytes[at + 1] << 8) | bytes[at + 2];
      numbers[row * perRow + i] = (word >> (24 - (bit & 7) - bits)) & mask;
    }
  if (stored.predictor === 2) {
    undoDifferences(numbers, stored);
    for (let i = 0; i < numbers.length; i++) numbers[i] &= mask;
  }
  return numbers;
}
