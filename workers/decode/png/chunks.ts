import type { ByteReader } from '../bytes.ts';
import { DecodeFault } from '../fault.ts';
import { SAMPLES } from './rows.ts';

export interface Header {
  widthPx: number;
  heightPx: number;
  bits: number;
  /** 0 grey, 2 RGB, 3 palette, 4 and 6 with transparency, which is passed over. */
  colourType: number;
  interlaced: boolean;
}

export interface PngFile {
  header: Header;
  palette: Uint8Array | null;
  /** The file says that its brightness is coded for a screen (sRGB, or a colour profile). */
  forScreen: boolean;
  /** The packed rows, piece by piece. */
  data(): AsyncIterable<Uint8Array>;
}

const MOST_PALETTE_BYTES = 768;
const BITS: Record<number, number[]> = {
  0: [1, 2, 4, 8, 16],
  2: [8, 16],
  3: [1, 2, 4, 8],
  4: [8, 16],
  6: [8, 16],
};

/** Reads from behind the signature to the first chunk with pixels. */
export async function readChunks(bytes: ByteReader, name: string): Promise<PngFile> {
  const first = await nextChunk(bytes);
  if (first?.type !== 'IHDR' || first.length !== 13) throw damaged(name, 'its header is missing');
  const header = readHeader(await bytes.take(13), name);
  await bytes.skip(4);
  let palette: Uint8Array | null = null;
  let forScreen = false;
  for (;;) {
    const chunk = await nextChunk(bytes);
    if (!chunk || chunk.type === 'IEND') throw damaged(name, 'it has no pixels');
    if (chunk.type === 'IDAT')
      return { header, palette, forScreen, data: () => pixelBytes(bytes, chunk.length) };
    if (chunk.type === 'sRGB' || chunk.type === 'iCCP') forScreen = true;
    if (chunk.type === 'PLTE' && chunk.length <= MOST_PALETTE_BYTES) {
      palette = await bytes.take(chunk.length);
      await bytes.skip(4);
    } else await bytes.skip(chunk.length + 4);
  }
}

interface Chunk {
  type: string;
  length: number;
}

async function nextChunk(bytes: ByteReader): Promise<Chunk | null> {
  const head = await bytes.take(8);
  if (head.length < 8) return null;
  const length = new DataView(head.buffer, head.byteOffset).getUint32(0);
  return { length, type: String.fromCharCode(...head.subarray(4)) };
}

/** The content of the chunks IDAT, which follow each other; their check sums are zlib's own affair. */
async function* pixelBytes(bytes: ByteReader, firstLength: number): AsyncGenerator<Uint8Array> {
  let left = firstLength;
  for (;;) {
    while (left > 0) {
      const piece = await bytes.take(Math.min(left, 64 << 10));
      if (piece.length === 0) return;
      left -= piece.length;
      yield piece;
    }
    await bytes.skip(4);
    const next = await nextChunk(bytes);
    if (next?.type !== 'IDAT') return;
    left = next.length;
  }
}

function readHeader(bytes: Uint8Array, name: string): Header {
  if (bytes.length < 13) throw damaged(name, 'it ends in its header');
  const view = new DataView(bytes.buffer, bytes.byteOffset);
  const [bits, colourType, compression, filter, interlace] = bytes.subarray(8);
  if (!SAMPLES[colourType] || !BITS[colourType].includes(bits))
    throw damaged(name, `${bits} bits of colour type ${colourType} do not exist`);
  if (compression !== 0 || filter !== 0 || interlace > 1)
    throw damaged(name, 'it is packed in a way that does not exist');
  return {
    widthPx: view.getUint32(0),
    heightPx: view.getUint32(4),
    bits,
    colourType,
    interlaced: interlace === 1,
  };
}

const damaged = (name: string, what: string) =>
  new DecodeFault('damaged', `${name} begins like a PNG, but ${what}. Copy it again from where it was made.`);
