import { DecodeFault } from '../fault.ts';
import { inflateInto } from '../inflate.ts';
import type { Picture } from '../picture.ts';
import type { DecodeInput } from '../reader.ts';
import { truncated } from '../size.ts';
import type { TiffFile } from './directory.ts';
import { COMPRESSION, type Chunk, type Layout } from './layout.ts';
import { numbersOf, rowBytes, type Stored } from './numbers.ts';
import { unpackBits } from './pack-bits.ts';
import { unpackLzw } from './lzw.ts';

/** Unpacks the strips or tiles of a page one by one and paints them. */
export async function paintChunks(
  input: DecodeInput,
  file: TiffFile,
  layout: Layout,
  picture: Picture,
): Promise<void> {
  const { name } = input;
  const { chunks, shape } = layout;
  const stored: Stored = {
    numbers: shape.numbers,
    predictor: layout.predictor,
    littleEndian: file.littleEndian,
    samples: layout.samplesInChunk,
    widthPx: layout.chunkWidthPx,
  };
  for (const [index, chunk] of chunks.entries()) {
    const rows = layout.tiled
      ? layout.chunkHeightPx
      : Math.min(layout.chunkHeightPx, shape.heightPx - chunk.yPx);
    const needed = rows * rowBytes(stored);
    const wanted = layout.compression === COMPRESSION.none ? needed : chunk.packedBytes;
    const packed = await bytesOf(file, chunk, wanted, name);
    // LZW packs best: 4095 to a code of 12 bits. What promises more is not even tried.
    if (needed > 2800 * packed.length) throw garbled(name, index, chunks.length);
    const bytes = new Uint8Array(needed);
    const come = await unpack(layout.compression, packed, bytes);
    if (come < needed) throw garbled(name, index, chunks.length);
    paint(picture, layout, chunk, numbersOf(bytes, stored), rows);
    input.onBytes(index + 1, chunks.length);
  }
}

async function bytesOf(file: TiffFile, chunk: Chunk, wanted: number, name: string): Promise<Uint8Array> {
  const size = file.bytes.sizeBytes;
  const from = file.start + chunk.at;
  const count = Math.min(wanted, chunk.packedBytes, Math.max(0, size - from));
  if (count < Math.min(wanted, chunk.packedBytes) && Number.isFinite(wanted))
    throw truncated(name, from + Math.min(wanted, chunk.packedBytes), size);
  const bytes = await file.bytes.bytes(from, count);
  if (bytes.length < count) throw truncated(name, from + count, from + bytes.length);
  return bytes;
}

/** Fills `target`; returns how many bytes came. */
async function unpack(compression: number, packed: Uint8Array, target: Uint8Array): Promise<number> {
  switch (compression) {
    case COMPRESSION.lzw:
      return unpackLzw(packed, target);
    case COMPRESSION.packBits:
      return unpackBits(packed, target);
    case COMPRESSION.deflate:
    case COMPRESSION.oldDeflate:
      return inflateInto(packed, target, 'deflate');
    default:
      target.set(packed.subarray(0, target.length));
      return Math.min(packed.length, target.length);
  }
}

function paint(
  picture: Picture,
  layout: Layout,
  chunk: Chunk,
  numbers: ReturnType<typeof numbersOf>,
  rows: number,
): void {
  const { shape, samplesInChunk, chunkWidthPx } = layout;
  const width = Math.min(chunkWidthPx, shape.widthPx - chunk.xPx);
  const height = Math.min(rows, shape.heightPx - chunk.yPx);
  if (layout.inverted) {
    const white = 2 ** shape.numbers.bits - 1;
    for (let i = 0; i < numbers.length; i++) numbers[i] = white - numbers[i];
  }
  const planes = samplesInChunk === 1 ? [chunk.plane] : shape.planes === 3 ? [0, 1, 2] : [0];
  for (const [sample, plane] of planes.entries())
    for (let row = 0; row < height; row++) {
      const first = row * chunkWidthPx * samplesInChunk + sample;
      picture.paint(plane, chunk.xPx, chunk.yPx + row, numbers, first, samplesInChunk, width);
    }
}

const garbled = (name: string, index: number, all: number) =>
  new DecodeFault(
    'damaged',
    `Part ${index + 1} of ${all} of the picture in ${name} does not unpack: the file is damaged. Copy it again from where it was made.`,
  );
