import type { Kernels } from '../../wasm/kernels.ts';
import { PixelWriter, peakOf, type Peak, type PixelMemory, type Pixels } from '../pixels.ts';
import type { DecodeInput } from '../reader.ts';
import { pixelCount, truncated } from '../size.ts';
import type { Hdu } from './hdu.ts';
import { pixelFormat, storedNumbers, U16_OFFSET, type StoredNumbers } from './numbers.ts';
import { pixelsBefore, type ImageShape } from './shape.ts';

/** Reads the pixels of an uncompressed image whose data begin at the reader's position. Adds to `warnings`. */
export async function readImage(
  input: DecodeInput,
  hdu: Hdu,
  shape: ImageShape,
  warnings: string[],
): Promise<Pixels> {
  const { bytes, kernels, name } = input;
  const numbers = storedNumbers(hdu.header, hdu.bitpix, warnings);
  const format = pixelFormat(kernels, numbers);
  const count = pixelCount(shape.widthPx, shape.heightPx, shape.planes, name);
  const needed = count * format.storedBytes;
  await bytes.skip(pixelsBefore(shape) * format.storedBytes);
  if (bytes.sizeBytes !== null && bytes.position + needed > bytes.sizeBytes)
    throw truncated(name, needed, Math.max(0, bytes.sizeBytes - bytes.position));

  const writer = new PixelWriter(kernels, format, count);
  let come = 0;
  await bytes.pump(needed, (piece) => {
    writer.write(piece);
    come += piece.length;
    input.onBytes(come, needed);
  });
  if (come < needed) throw truncated(name, needed, come);
  writer.finish();
  return settle(kernels, writer.memory, writer.peak, numbers);
}

/**
 * Says what the finished pixels mean. Whole numbers of up to 16 bit stay whole numbers, unless some pixel is marked as
 * blank or the scale turns the order round (a smaller number is brighter): then they become physical values in place.
 */
export function settle(kernels: Kernels, memory: PixelMemory, peak: Peak, numbers: StoredNumbers): Pixels {
  const { address, count, kind } = memory;
  const shared = { address, count };
  if (kind === 'f32') return { ...shared, kind: 'f32', scale: 1, zero: 0, peak, ceiling: null };
  const { scale, zero, bitpix } = numbers;
  const offset = U16_OFFSET[bitpix];
  const blank = blankAsU16(numbers);
  const usesBlank = blank >= 0 && kernels.run.countU16(address, count, blank, blank) > 0;
  if (usesBlank || scale < 0) {
    memory.growToFloats();
    kernels.run.widenU16(address, count, offset, scale, zero, blank);
    const floats = { ...shared, kind: 'f32' as const, scale: 1, zero: 0, ceiling: null };
    return { ...floats, peak: peakOf(kernels, 'f32', address, count) };
  }
  // A scale of one is a camera's own numbers, up to what the type can hold; any other was fitted to the pixels.
  const ceiling = scale === 1 ? 2 ** bitpix - 1 : null;
  return { ...shared, kind: 'u16', scale, zero: zero - scale * offset, peak, ceiling };
}

/** BLANK as it lies in memory, -1 when no pixel can equal it. */
function blankAsU16({ blank, bitpix }: StoredNumbers): number {
  if (blank === null) return -1;
  const stored = Number(blank) + U16_OFFSET[bitpix];
  return stored >= 0 && stored < 2 ** bitpix ? stored : -1;
}
