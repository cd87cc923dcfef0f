import { Garbled, inflate, onePiece } from '../../inflate.ts';

/**
 * GZIP_1 and GZIP_2 (FITS Standard 4.0, 10.4.2): big-endian numbers packed by deflate; in GZIP_2 all first bytes stand
 * before all second bytes, and so on. The platform's own decoder unpacks.
 */

/** Unpacks no more than `mostBytes`. Null when the bytes are damaged or more than that. */
export async function ungzip(packed: Uint8Array, mostBytes: number): Promise<Uint8Array | null> {
  const pieces: Uint8Array[] = [];
  let length = 0;
  try {
    for await (const piece of inflate(onePiece(packed), 'gzip')) {
      length += piece.length;
      if (length > mostBytes) return null;
      pieces.push(piece);
    }
  } catch (error) {
    if (error instanceof Garbled) return null;
    throw error;
  }
  if (pieces.length === 1) return pieces[0];
  const all = new Uint8Array(length);
  let at = 0;
  for (const piece of pieces) {
    all.set(piece, at);
    at += piece.length;
  }
  return all;
}

/** Puts the bytes of each number together again. */
export function unshuffle(shuffled: Uint8Array, numberBytes: number): Uint8Array {
  const count = Math.floor(shuffled.length / numberBytes);
  const bytes = new Uint8Array(count * numberBytes);
  for (let part = 0; part < numberBytes; part++)
    for (let i = 0; i < count; i++) bytes[i * numberBytes + part] = shuffled[part * count + i];
  return bytes;
}

/** Big-endian whole numbers of 1 (unsigned), 2 or 4 bytes. */
export function readIntegers(
  bytes: Uint8Array,
  numberBytes: number,
  target: Int32Array,
  count: number,
): true {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  if (numberBytes === 1) for (let i = 0; i < count; i++) target[i] = bytes[i];
  else if (numberBytes === 2) for (let i = 0; i < count; i++) target[i] = view.getInt16(2 * i);
  else for (let i = 0; i < count; i++) target[i] = view.getInt32(4 * i);
  return true;
}

/** Big-endian floats; BITPIX says of how many bits. */
export function readFloats(bytes: Uint8Array, bitpix: number, count: number): Float64Array {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const target = new Float64Array(count);
  if (bitpix === -32) for (let i = 0; i < count; i++) target[i] = view.getFloat32(4 * i);
  else for (let i = 0; i < count; i++) target[i] = view.getFloat64(8 * i);
  return target;
}
