import type { Frame, FrameMeta, Mosaic } from '../protocol/frame.ts';
import type { Kernels } from '../wasm/kernels.ts';
import { peakOf, PIXEL_BYTES, PixelMemory } from './pixels.ts';
import { saturationStored } from './saturation.ts';
import { allBlank, believePacked, LEAST_SIDE_PX, pixelCount, tooSmall } from './size.ts';

/** The numbers of a picture before they are pixels. */
export type Numbers =
  Uint8Array | Int8Array | Uint16Array | Int16Array | Uint32Array | Int32Array | Float32Array | Float64Array;

/** How one number is stored: whole, without or with sign, or floating-point. */
export interface NumberType {
  bits: number;
  kind: 'unsigned' | 'signed' | 'float';
}

export interface PictureShape {
  widthPx: number;
  heightPx: number;
  planes: 1 | 3;
  numbers: NumberType;
}

/**
 * The pixels of a picture while its parts come in any order. Whole numbers of up to 16 bit stay whole numbers; those with
 * a sign are moved up so that all are positive and in order, and `zero` takes that back.
 */
export class Picture {
  private readonly memory: PixelMemory;
  private readonly offset: number;

  /** Throws a DecodeFault where the shape is no frame, or more than a file of so many bytes can hold. */
  constructor(
    private readonly kernels: Kernels,
    readonly shape: PictureShape,
    private readonly name: string,
    fileBytes: number,
  ) {
    const { widthPx, heightPx, planes, numbers } = shape;
    if (widthPx < LEAST_SIDE_PX || heightPx < LEAST_SIDE_PX) throw tooSmall(widthPx, heightPx, name);
    const count = pixelCount(widthPx, heightPx, planes, name);
    const kind = numbers.kind !== 'float' && numbers.bits <= 16 ? 'u16' : 'f32';
    believePacked(count * PIXEL_BYTES[kind], fileBytes, name);
    this.memory = new PixelMemory(kernels, kind, count);
    this.offset = kind === 'u16' && numbers.kind === 'signed' ? 2 ** (numbers.bits - 1) : 0;
  }

  /**
   * Puts every `step`-th of `numbers`, from `first` on, into `count` pixels of one row of a plane, or into every
   * `stride`-th pixel of it.
   */
  paint(
    plane: number,
    xPx: number,
    yPx: number,
    numbers: Numbers,
    first: number,
    step: number,
    count: number,
    stride = 1,
  ): void {
    const { widthPx, heightPx } = this.shape;
    const at = (plane * heightPx + yPx) * widthPx + xPx;
    const pixels = this.memory.view(at + (count - 1) * stride + 1);
    const { offset } = this;
    if (pixels instanceof Float32Array)
      for (let i = 0; i < count; i++) {
        const value = Math.fround(numbers[first + i * step]);
        pixels[at + i * stride] = value - value === 0 ? value : NaN; // infinite has no value either
      }
    else if (step === 1 && stride === 1 && offset === 0)
      pixels.set(numbers.subarray(first, first + count), at);
    else for (let i = 0; i < count; i++) pixels[at + i * stride] = numbers[first + i * step] + offset;
  }

  /** The frame, when all is painted. `saysSaturationAdu`: what the file says of its full well. */
  finish(
    meta: FrameMeta,
    mosaic: Mosaic | null,
    saysSaturationAdu: number | null,
    warnings: string[],
  ): Frame {
    const { widthPx, heightPx, planes, numbers } = this.shape;
    const { kind, address, count } = this.memory;
    this.memory.reserve(count);
    const peak = peakOf(this.kernels, kind, address, count);
    if (peak.maximum === -Infinity) throw allBlank(this.name);
    const ceiling = kind === 'u16' ? 2 ** numbers.bits - 1 : null;
    const pixels = { kind, address, count, scale: 1, zero: -this.offset, peak, ceiling };
    return {
      meta,
      widthPx,
      heightPx,
      pixels: { kind, address },
      planes,
      scale: 1,
      zero: -this.offset,
      saturationStored: saturationStored(this.kernels, pixels, saysSaturationAdu, warnings),
      mosaic: planes === 1 ? mosaic : null,
      warnings,
    };
  }
}
