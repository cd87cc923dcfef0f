import type { Kernels } from '../../wasm/kernels.ts';
import type { PixelFormat } from '../pixels.ts';
import type { Header } from './header.ts';

/** How the numbers of an image are stored: physical = zero + scale * stored. */
export interface StoredNumbers {
  bitpix: number;
  scale: number;
  zero: number;
  /** Stored value of pixels without one; whole numbers only. */
  blank: bigint | null;
}

/** Reads BSCALE, BZERO and BLANK; values that make no sense are replaced and told of. */
export function storedNumbers(header: Header, bitpix: number, warnings: string[]): StoredNumbers {
  let scale = header.number('BSCALE') ?? 1;
  let zero = header.number('BZERO') ?? 0;
  if (!Number.isFinite(scale) || scale === 0) {
    warnings.push(`BSCALE is ${header.card('BSCALE')!.text}, which cannot be: taken as 1.`);
    scale = 1;
  }
  if (!Number.isFinite(zero)) {
    warnings.push(`BZERO is ${header.card('BZERO')!.text}, which cannot be: taken as 0.`);
    zero = 0;
  }
  // The standard forbids BLANK for floating-point images, where NaN says the same.
  const blank = bitpix > 0 ? header.integer('BLANK') : null;
  return { bitpix, scale, zero, blank };
}

/** 8 and 16 bit stay whole numbers; the sign of 16 bit is taken away by this, so that all are positive and in order. */
export const U16_OFFSET: Record<number, number> = { 8: 0, 16: 32768 };

const TWO_63 = 2 ** 63;

/** The kernel that turns big-endian numbers as stored into pixels. */
export function pixelFormat({ run }: Kernels, numbers: StoredNumbers): PixelFormat {
  const { bitpix, scale, zero } = numbers;
  const storedBytes = Math.abs(bitpix) / 8;
  const format = (kind: PixelFormat['kind'], convert: PixelFormat['convert']) => ({
    kind,
    storedBytes,
    convert,
  });
  switch (bitpix) {
    case 8:
      return format('u16', (source, target, count) => run.decodeU8(source, target, count));
    case 16:
      return format('u16', (source, target, count) => run.decodeI16(source, target, count));
    case 32: {
      const [hasBlank, blank] = blankWithin(numbers.blank, 32);
      return format('f32', (source, target, count) =>
        run.decodeI32(source, target, count, scale, zero, hasBlank, Number(blank)),
      );
    }
    case 64: {
      const [hasBlank, blank] = blankWithin(numbers.blank, 64);
      const unsigned = zero === TWO_63 * scale;
      return format('f32', (source, target, count) =>
        run.decodeI64(source, target, count, scale, unsigned ? 0 : zero, unsigned ? 1 : 0, hasBlank, blank),
      );
    }
    case -32:
      if (scale === 1 && zero === 0)
        return format('f32', (source, target, count) => run.decodeF32(source, target, count));
      return format('f32', (source, target, count) =>
        run.decodeF32Scaled(source, target, count, scale, zero),
      );
    default:
      return format('f32', (source, target, count) => run.decodeF64(source, target, count, scale, zero));
  }
}

/** A BLANK that no number of so many bits can equal marks nothing. */
function blankWithin(blank: bigint | null, bits: number): [hasBlank: number, blank: bigint] {
  return blank !== null && BigInt.asIntN(bits, blank) === blank ? [1, blank] : [0, 0n];
}
