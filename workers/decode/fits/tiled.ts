import type { Pixels } from '../pixels.ts';
import { PixelMemory, peakOf } from '../pixels.ts';
import { DecodeFault } from '../fault.ts';
import type { DecodeInput } from '../reader.ts';
import { pixelCount, truncated } from '../size.ts';
import { ditherSequence } from './fitsjs-adapter.ts';
import type { Hdu } from './hdu.ts';
import { settle } from './image.ts';
import { storedNumbers, U16_OFFSET, type StoredNumbers } from './numbers.ts';
import { pictureAxes, pixelsBefore, type ImageShape } from './shape.ts';
import { tileExtent, tilePlan, type TilePlan } from './tiles/plan.ts';
import { dequantise, USUAL_BLANK, type Quantisation } from './tiles/quantise.ts';
import { Rows, type Extent } from './tiles/table.ts';
import { unpackTile, type Packing } from './tiles/unpack.ts';

/**
 * Reads a tile-compressed image (FITS Standard 4.0, section 10) whose table begins at the reader's position: the table
 * first, then the tiles as they come in the heap, so that no more than one packed tile is held. Adds to `warnings`.
 */
export async function readTiledImage(
  input: DecodeInput,
  hdu: Hdu,
  shape: ImageShape,
  warnings: string[],
): Promise<Pixels> {
  const { bytes, kernels, name } = input;
  const plan = tilePlan(hdu, pictureAxes(hdu), name);
  const numbers = storedNumbers(hdu.header, plan.bitpix, warnings);
  const count = pixelCount(shape.widthPx, shape.heightPx, shape.planes, name);
  const dataStart = bytes.position;
  const tableBytes = plan.rowBytes * plan.tiles;
  if (bytes.sizeBytes !== null && dataStart + plan.heapEnd > bytes.sizeBytes)
    throw truncated(name, plan.heapEnd, Math.max(0, bytes.sizeBytes - dataStart));
  const table = await bytes.take(tableBytes);
  if (table.length < tableBytes) throw truncated(name, plan.heapEnd, table.length);

  const canvas = new Canvas(
    new PixelMemory(kernels, plan.bitpix > 0 && plan.bitpix < 32 ? 'u16' : 'f32', count),
    plan,
    numbers,
    pixelsBefore(shape),
  );
  const quantisation: Quantisation = {
    dither: plan.dither,
    firstSeed: plan.firstSeed,
    random: plan.dither ? await ditherSequence() : new Float32Array(0),
  };
  const rows = new Rows(table, plan.rowBytes, plan.columns);
  for (const packed of inHeapOrder(plan, rows, name)) {
    const from = dataStart + plan.heapStart + packed.extent.offset;
    if (from < bytes.position) throw damagedTile(name, packed.tile, plan.tiles);
    await bytes.skip(from - bytes.position);
    const content = await bytes.take(packed.extent.bytes);
    if (content.length < packed.extent.bytes) throw truncated(name, plan.heapEnd, bytes.position - dataStart);
    const { size } = tileExtent(plan, packed.tile);
    const tilePixels = size.reduce((all, length) => all * length, 1);
    const values = await unpackTile(plan, packed.packing, content, tilePixels);
    if (!values) throw damagedTile(name, packed.tile, plan.tiles);
    if ('floats' in values) canvas.paintFloats(packed.tile, values.floats);
    else if (plan.bitpix > 0) canvas.paintIntegers(packed.tile, values.integers);
    else {
      const own = (column: string) => rows.number(packed.tile, column) ?? hdu.header.number(column);
      const [scale, zero] = [own('ZSCALE') ?? 1, own('ZZERO') ?? 0];
      const blank = own('ZBLANK') ?? USUAL_BLANK;
      const floats = dequantise(values.integers, tilePixels, packed.tile, scale, zero, blank, quantisation);
      canvas.paintFloats(packed.tile, floats);
    }
    input.onBytes(bytes.position - dataStart, plan.heapEnd);
  }
  const { memory } = canvas;
  return settle(kernels, memory, peakOf(kernels, memory.kind, memory.address, count), numbers);
}

interface PackedTile {
  tile: number;
  packing: Packing;
  extent: Extent;
}

const COLUMNS: [column: string, packing: Packing][] = [
  ['COMPRESSED_DATA', 'as planned'],
  ['GZIP_COMPRESSED_DATA', 'gzip'],
  ['UNCOMPRESSED_DATA', 'none'],
];

/** Where each tile's bytes lie, in the order in which they come. */
function inHeapOrder(plan: TilePlan, rows: Rows, name: string): PackedTile[] {
  const heapBytes = plan.heapEnd - plan.heapStart;
  const found: PackedTile[] = [];
  for (let tile = 0; tile < plan.tiles; tile++) {
    for (const [column, packing] of COLUMNS) {
      const extent = rows.extent(tile, column);
      if (!extent) continue;
      if (!(extent.offset >= 0 && extent.bytes > 0 && extent.offset + extent.bytes <= heapBytes))
        throw damagedTile(name, tile, plan.tiles);
      found.push({ tile, packing, extent });
      break;
    }
    if (found.length <= tile) throw damagedTile(name, tile, plan.tiles);
  }
  return found.sort((a, b) => a.extent.offset - b.extent.offset);
}

const damagedTile = (name: string, tile: number, tiles: number) =>
  new DecodeFault(
    'damaged',
    `Part ${tile + 1} of ${tiles} of the compressed image in ${name} does not unpack: the file is damaged. Copy it again from where it was made.`,
  );

/** The frame's pixels, painted tile by tile. */
class Canvas {
  constructor(
    readonly memory: PixelMemory,
    private readonly plan: TilePlan,
    private readonly numbers: StoredNumbers,
    /** Pixels of a stack before those that are read. */
    private readonly before: number,
  ) {}

  /** Whole numbers as the file stores them. */
  paintIntegers(tile: number, values: Int32Array): void {
    const { bitpix, scale, zero } = this.numbers;
    if (bitpix !== 32) {
      const offset = U16_OFFSET[bitpix];
      for (const { pixels, first } of this.runs(tile, values.length))
        for (let i = 0; i < pixels.length; i++) pixels[i] = values[first + i] + offset;
      return;
    }
    const blank = this.numbers.blank === null ? null : Number(this.numbers.blank);
    for (const { pixels, first } of this.runs(tile, values.length))
      for (let i = 0; i < pixels.length; i++) {
        const value = values[first + i];
        pixels[i] = value === blank ? NaN : zero + scale * value;
      }
  }

  paintFloats(tile: number, values: Float64Array): void {
    const { scale, zero } = this.numbers;
    for (const { pixels, first } of this.runs(tile, values.length))
      for (let i = 0; i < pixels.length; i++) {
        const physical = Math.fround(zero + scale * values[first + i]);
        pixels[i] = physical - physical === 0 ? physical : NaN; // infinite has no value either
      }
  }

  /**
   * The tile's rows that are part of the frame (planes before and behind those that are read are not): where each lies among the
   * pixels, and the tile's value that goes to its first one. A run is valid until the next is asked for.
   */
  private *runs(
    tile: number,
    count: number,
  ): Generator<{ pixels: Uint16Array | Float32Array; first: number }> {
    const { from, size } = tileExtent(this.plan, tile);
    const { axes } = this.plan;
    for (let first = 0; first < count; first += size[0]) {
      let at = from[0] - this.before;
      let rest = first / size[0];
      let stride = axes[0];
      for (let axis = 1; axis < axes.length; axis++) {
        at += (from[axis] + (rest % size[axis])) * stride;
        rest = Math.floor(rest / size[axis]);
        stride *= axes[axis];
      }
      const end = at + size[0];
      if (at >= 0 && end <= this.memory.count) yield { pixels: this.memory.view(end).subarray(at), first };
    }
  }
}
