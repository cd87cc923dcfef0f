import { DecodeFault } from '../fault.ts';
import type { NumberType, PictureShape } from '../picture.ts';
import type { Directory } from './directory.ts';
import { TAG } from './tags.ts';

export const COMPRESSION = {
  none: 1,
  lzw: 5,
  jpeg: 7,
  deflate: 8,
  oldDeflate: 32946,
  packBits: 32773,
} as const;
export const READ_COMPRESSIONS: number[] = Object.values(COMPRESSION);
const PHOTOMETRIC = { whiteIsZero: 0, blackIsZero: 1, rgb: 2, mosaic: 32803, linearRaw: 34892 } as const;
const READ_PHOTOMETRICS: number[] = Object.values(PHOTOMETRIC);

/** One strip or tile: where it lies in the file, and which part of the picture it is. */
export interface Chunk {
  at: number;
  packedBytes: number;
  xPx: number;
  yPx: number;
  plane: number;
}

/** How the numbers of one page lie in the file. */
export interface Layout {
  shape: PictureShape;
  compression: number;
  predictor: number;
  /** Numbers of each pixel in the file; those behind the colours (transparency) are passed over. */
  samples: number;
  /** Numbers of each pixel in one chunk: `samples`, or 1 where every colour has chunks of its own. */
  samplesInChunk: number;
  /** A larger number is darker. */
  inverted: boolean;
  chunkWidthPx: number;
  chunkHeightPx: number;
  /** Strips end with the picture; tiles are always whole. */
  tiled: boolean;
  chunks: Chunk[];
}

const cannot = (name: string, what: string) =>
  new DecodeFault(
    'unsupported',
    `${name} ${what}, which is not read. Save it as a plain TIFF of 16 bits without compression, or better record FITS.`,
  );

/** What the fields of a page say about its numbers. Throws a DecodeFault where they cannot be read or make no sense. */
export async function layoutOf(page: Directory, name: string): Promise<Layout> {
  const [widthPx, heightPx] = [await page.number(TAG.width, 0), await page.number(TAG.height, 0)];
  const samples = await page.number(TAG.samples, 1);
  const compression = await page.number(TAG.compression, 1);
  const photometric = await page.number(TAG.photometric, samples >= 3 ? PHOTOMETRIC.rgb : 1);
  const numbers = await numberType(page, name);
  if (!READ_COMPRESSIONS.includes(compression))
    throw cannot(name, `is packed in a way (TIFF compression ${compression})`);
  if (!READ_PHOTOMETRICS.includes(photometric))
    throw cannot(name, `stores its colours in a way (TIFF photometric ${photometric})`);
  if ((await page.number(TAG.fillOrder, 1)) !== 1)
    throw cannot(name, 'stores the bits of each byte backwards');
  if (!(samples >= 1 && samples <= 16)) throw damaged(name, `${samples} values for each pixel`);
  const predictor = await page.number(TAG.predictor, 1);
  const predicts = [1, numbers.bits < 64 ? 2 : 1, numbers.kind === 'float' ? 3 : 1];
  if (!predicts.includes(predictor)) throw cannot(name, `uses a predictor (${predictor})`);
  const planar = (await page.number(TAG.planar, 1)) === 2;
  const planes = samples >= 3 && photometric !== PHOTOMETRIC.mosaic ? 3 : 1;
  const geometry = await chunkGeometry(page, widthPx, heightPx, name);
  return {
    shape: { widthPx, heightPx, planes, numbers },
    compression,
    predictor,
    samples,
    samplesInChunk: planar ? 1 : samples,
    inverted: photometric === PHOTOMETRIC.whiteIsZero,
    ...geometry,
    chunks: await chunksOf(page, geometry, widthPx, heightPx, planar ? planes : 1, name),
  };
}

const BITS_READ: Record<NumberType['kind'], number[]> = {
  unsigned: [8, 10, 12, 14, 16, 32],
  signed: [8, 16, 32],
  float: [32, 64],
};

async function numberType(page: Directory, name: string): Promise<NumberType> {
  const bits = await page.numbers(TAG.bits, 16);
  const kind = (['unsigned', 'signed', 'float', 'unsigned'] as const)[
    (await page.number(TAG.sampleFormat, 1)) - 1
  ];
  const [first = 1] = bits;
  if (!kind || !BITS_READ[kind].includes(first) || bits.some((each) => each !== first))
    throw cannot(name, `stores numbers of ${bitsText(bits)} bits${kind === 'float' ? ' with a point' : ''}`);
  return { bits: first, kind };
}

/** "8 and 12"; a garbled file may name many. */
function bitsText(bits: number[]): string {
  const different = [...new Set(bits)];
  if (different.length > 4) return 'many different';
  return different.length === 0 ? '1' : different.join(' and ');
}

async function chunkGeometry(page: Directory, widthPx: number, heightPx: number, name: string) {
  const tiled = page.has(TAG.tileWidth);
  const chunkWidthPx = tiled ? await page.number(TAG.tileWidth, 0) : widthPx;
  const rows = await page.number(tiled ? TAG.tileHeight : TAG.rowsPerStrip, heightPx);
  const chunkHeightPx = tiled ? rows : Math.min(rows, heightPx);
  const lengths = [widthPx, heightPx, chunkWidthPx, chunkHeightPx];
  if (!lengths.every((length) => Number.isInteger(length) && length > 0 && length < 2 ** 31))
    throw damaged(name, `${widthPx} x ${heightPx} pixels in parts of ${chunkWidthPx} x ${chunkHeightPx}`);
  // A tile may stick out beyond the picture, but not so far that it alone would be too large to unpack.
  if (tiled && chunkWidthPx * chunkHeightPx > 4 * widthPx * heightPx + 2 ** 20)
    throw damaged(name, `${widthPx} x ${heightPx} pixels in tiles of ${chunkWidthPx} x ${chunkHeightPx}`);
  return { tiled, chunkWidthPx, chunkHeightPx };
}

async function chunksOf(
  page: Directory,
  { tiled, chunkWidthPx, chunkHeightPx }: Pick<Layout, 'tiled' | 'chunkWidthPx' | 'chunkHeightPx'>,
  widthPx: number,
  heightPx: number,
  chunkPlanes: number,
  name: string,
): Promise<Chunk[]> {
  const offsets = await page.numbers(tiled ? TAG.tileOffsets : TAG.stripOffsets);
  const bytes = await page.numbers(tiled ? TAG.tileBytes : TAG.stripBytes);
  const [across, down] = [Math.ceil(widthPx / chunkWidthPx), Math.ceil(heightPx / chunkHeightPx)];
  const needed = across * down * chunkPlanes;
  // One strip without its length is common in old files; it ends with the file.
  if (bytes.length === 0 && needed === 1) bytes.push(Infinity);
  if (offsets.length < needed || bytes.length < needed)
    throw damaged(
      name,
      `its picture in ${needed} parts, but only where ${Math.min(offsets.length, bytes.length)} of them lie`,
    );
  const chunks: Chunk[] = [];
  for (let i = 0; i < needed; i++) {
    const inPlane = i % (across * down);
    chunks.push({
      at: offsets[i],
      packedBytes: bytes[i],
      xPx: (inPlane % across) * chunkWidthPx,
      yPx: Math.floor(inPlane / across) * chunkHeightPx,
      plane: Math.floor(i / (across * down)),
    });
  }
  return chunks;
}

const damaged = (name: string, says: string) =>
  new DecodeFault(
    'damaged',
    `The header of ${name} makes no sense: it promises ${says}. Copy the file again, or save it anew with the program that made it.`,
  );
