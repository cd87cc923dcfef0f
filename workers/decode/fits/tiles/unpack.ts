import { readFloats, readIntegers, ungzip, unshuffle } from './gzip-tile.ts';
import { unpackHcompress } from './hcompress.ts';
import type { TilePlan } from './plan.ts';
import { unpackPlio } from './plio.ts';
import { mostRicePixels, unpackRice } from './rice.ts';

/** What a tile holds once unpacked: whole numbers (which may stand for floats), or floats as they are. */
export type TileValues = { integers: Int32Array } | { floats: Float64Array };

/** How a tile was packed: as the header says, or, where that did not work for this tile, in one of two other columns. */
export type Packing = 'as planned' | 'gzip' | 'none';

/**
 * Unpacks one tile of `count` pixels. Null when the bytes do not hold that many. No more memory is taken than the bytes
 * can fill.
 */
export async function unpackTile(
  plan: TilePlan,
  packing: Packing,
  bytes: Uint8Array,
  count: number,
): Promise<TileValues | null> {
  const asFloats = plan.bitpix < 0 && !(packing === 'as planned' && plan.quantised);
  const numbers = (plain: Uint8Array | null, shuffled = false) =>
    plain && plainNumbers(plain, count, asFloats ? plan.bitpix : null, shuffled);
  if (packing === 'none') return numbers(bytes);
  if (packing === 'gzip') return numbers(await gunzipped(bytes, count));
  switch (plan.algorithm) {
    case 'NOCOMPRESS':
      return numbers(bytes);
    case 'GZIP_1':
      return numbers(await gunzipped(bytes, count));
    case 'GZIP_2':
      return numbers(await gunzipped(bytes, count), true);
    case 'RICE_1': {
      const { bytePix, blockSize } = plan;
      if (count > mostRicePixels(bytes.length, bytePix, blockSize)) return null;
      return integers(count, (target) => unpackRice(bytes, bytePix, blockSize, target, count));
    }
    case 'PLIO_1':
      // An instruction of two bytes paints at most 4095 pixels.
      return count > 2048 * bytes.length
        ? null
        : integers(count, (target) => unpackPlio(bytes, target, count));
    case 'HCOMPRESS_1':
      return integers(count, (target) => unpackHcompress(bytes, target, count));
  }
}

function integers(count: number, unpack: (target: Int32Array) => boolean): TileValues | null {
  const target = new Int32Array(count);
  return unpack(target) ? { integers: target } : null;
}

/** Deflate packs at most 1032 to 1. */
const MOST_DEFLATE_RATIO = 1032;

const gunzipped = async (bytes: Uint8Array, count: number): Promise<Uint8Array | null> =>
  count > MOST_DEFLATE_RATIO * bytes.length ? null : ungzip(bytes, 8 * count);

/** Big-endian numbers: floats of `floatBitpix`, or, where that is null, integers of as many bytes as there are. */
function plainNumbers(
  bytes: Uint8Array,
  count: number,
  floatBitpix: number | null,
  shuffled: boolean,
): TileValues | null {
  const numberBytes = bytes.length / count;
  const fits = floatBitpix === null ? [1, 2, 4].includes(numberBytes) : numberBytes === -floatBitpix / 8;
  if (!fits) return null;
  const ordered = shuffled ? unshuffle(bytes, numberBytes) : bytes;
  if (floatBitpix !== null) return { floats: readFloats(ordered, floatBitpix, count) };
  return integers(count, (target) => readIntegers(ordered, numberBytes, target, count));
}
