import { DecodeFault } from '../../fault.ts';
import type { Hdu } from '../hdu.ts';
import type { Quantisation } from './quantise.ts';
import { isRicePixel } from './rice.ts';
import { columnsOf, type Column } from './table.ts';

export type Algorithm = 'RICE_1' | 'GZIP_1' | 'GZIP_2' | 'PLIO_1' | 'HCOMPRESS_1' | 'NOCOMPRESS';
const ALGORITHMS: string[] = ['RICE_1', 'GZIP_1', 'GZIP_2', 'PLIO_1', 'HCOMPRESS_1', 'NOCOMPRESS'];

/** How an image is cut into tiles and how these are packed (FITS Standard 4.0, 10.1). */
export interface TilePlan {
  algorithm: Algorithm;
  bitpix: number;
  /** Axes of the image, of a tile, and the number of tiles along each. */
  axes: number[];
  tile: number[];
  grid: number[];
  tiles: number;
  rowBytes: number;
  columns: Map<string, Column>;
  /** Bytes from the start of the data to the heap, and to its end. */
  heapStart: number;
  heapEnd: number;
  /** Parameters of RICE_1. */
  blockSize: number;
  bytePix: number;
  /** Floats that were turned into whole numbers before they were packed. */
  quantised: boolean;
  dither: Quantisation['dither'];
  firstSeed: number;
}

/** More than the rows of any sensor, with room for small tiles. */
const MOST_TILES = 4e6;

/** Reads the plan from the header; throws a DecodeFault where it contradicts itself. */
export function tilePlan(hdu: Hdu, axes: number[], name: string): TilePlan {
  const { header } = hdu;
  const wrong = (what: string) =>
    new DecodeFault(
      'damaged',
      `The compressed image in ${name} contradicts itself: ${what}. Copy the file again.`,
    );
  const algorithm = header.string('ZCMPTYPE')?.toUpperCase().replace('RICE_ONE', 'RICE_1') ?? 'none';
  if (!ALGORITHMS.includes(algorithm))
    throw new DecodeFault(
      'unsupported',
      `${name} is compressed by "${algorithm.slice(0, 20)}", which is not read. Save it uncompressed, or with Rice or gzip compression.`,
    );
  const bitpix = header.number('ZBITPIX') ?? NaN;
  if (bitpix === 64)
    throw new DecodeFault(
      'unsupported',
      `${name} is a compressed image of 64-bit numbers, which is not read. Save it uncompressed.`,
    );
  if (![8, 16, 32, -32, -64].includes(bitpix))
    throw wrong(`ZBITPIX is ${header.card('ZBITPIX')?.text ?? 'missing'}`);
  const tile = axes.map((length, i) => {
    const given = header.number(`ZTILE${i + 1}`) ?? (i === 0 ? length : 1);
    if (!(given >= 1 && Number.isInteger(given))) throw wrong(`ZTILE${i + 1} is ${given}`);
    return Math.min(given, length);
  });
  const grid = axes.map((length, i) => Math.ceil(length / tile[i]));
  const tiles = grid.reduce((all, count) => all * count, 1);
  const [rowBytes, rows] = hdu.axes;
  if (tiles !== rows) throw wrong(`it needs ${tiles} tiles but has ${rows}`);
  if (tiles > MOST_TILES) throw wrong(`it is cut into ${tiles} tiles`);
  const columns = columnsOf(header, rowBytes);
  if (!columns) throw wrong('the columns of its table do not fit');
  const tableBytes = rowBytes * rows;
  const heapStart = header.number('THEAP') ?? tableBytes;
  if (!(heapStart >= tableBytes && heapStart <= hdu.dataBytes)) throw wrong(`THEAP is ${heapStart}`);
  const parameters = namedParameters(hdu);
  const blockSize = parameters.get('BLOCKSIZE') ?? 32;
  const bytePix = parameters.get('BYTEPIX') ?? 4;
  if (algorithm === 'RICE_1' && !(isRicePixel(bytePix) && Number.isInteger(blockSize) && blockSize >= 1))
    throw wrong(`its Rice blocks have ${blockSize} pixels of ${bytePix} bytes`);
  if (algorithm === 'HCOMPRESS_1' && (parameters.get('SMOOTH') ?? 0) !== 0)
    throw new DecodeFault(
      'unsupported',
      `${name} asks for its pixels to be smoothed while they are unpacked, which would change the shapes of the stars. Give the frame uncompressed.`,
    );
  const method = header.string('ZQUANTIZ')?.toUpperCase() ?? 'NO_DITHER';
  const firstSeed = header.number('ZDITHER0') ?? 1;
  if (method.includes('DITHER_') && !(firstSeed >= 1 && firstSeed <= 10000 && Number.isInteger(firstSeed)))
    throw wrong(`ZDITHER0 is ${firstSeed}`);
  return {
    algorithm: algorithm as Algorithm,
    bitpix,
    axes,
    tile,
    grid,
    tiles,
    rowBytes,
    columns,
    heapStart,
    heapEnd: hdu.dataBytes,
    blockSize,
    bytePix,
    quantised: bitpix < 0 && method !== 'NONE' && (columns.has('ZSCALE') || header.has('ZSCALE')),
    dither: method === 'SUBTRACTIVE_DITHER_1' ? 1 : method === 'SUBTRACTIVE_DITHER_2' ? 2 : 0,
    firstSeed,
  };
}

/** ZNAMEn and ZVALn. */
function namedParameters({ header }: Hdu): Map<string, number> {
  const parameters = new Map<string, number>();
  for (let i = 1; i <= 99 && header.has(`ZNAME${i}`); i++)
    parameters.set(header.string(`ZNAME${i}`)!, header.number(`ZVAL${i}`) ?? NaN);
  return parameters;
}

/** First pixel of a tile along each axis, and how many pixels it has there; the last ones may be cut off. */
export function tileExtent(
  { axes, tile, grid }: TilePlan,
  index: number,
): { from: number[]; size: number[] } {
  const from: number[] = [];
  const size: number[] = [];
  let rest = index;
  for (let axis = 0; axis < axes.length; axis++) {
    from.push((rest % grid[axis]) * tile[axis]);
    size.push(Math.min(tile[axis], axes[axis] - from[axis]));
    rest = Math.floor(rest / grid[axis]);
  }
  return { from, size };
}
