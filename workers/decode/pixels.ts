import type { Kernels } from '../wasm/kernels.ts';

/** Turns `count` stored numbers at `source` into pixels at `target` (both addresses). */
export type Convert = (source: number, target: number, count: number) => void;

export interface PixelFormat {
  kind: 'u16' | 'f32';
  /** Bytes of one number in the file. */
  storedBytes: number;
  convert: Convert;
}

/** The largest pixel and how many pixels have it; what saturation is first guessed from. */
export interface Peak {
  maximum: number;
  atMaximum: number;
}

/** Decoded pixels as they lie in memory: physical value = zero + scale * stored. */
export interface Pixels {
  kind: 'u16' | 'f32';
  address: number;
  count: number;
  scale: number;
  zero: number;
  peak: Peak;
  /** The largest value that the camera's type of number can hold, as stored; null when that says nothing. */
  ceiling: number | null;
}

/** Small enough to stay in the second cache while it is converted. */
const STAGING_BYTES = 256 << 10;
/** Memory grows in steps, so that a header which promises too much cannot take it all at once. */
const GROWTH_BYTES = 16 << 20;

export const PIXEL_BYTES = { u16: 2, f32: 4 };

/**
 * Memory for a frame's pixels, which grows as they come. It must stay the arena's last allocation until all are there.
 */
export class PixelMemory {
  /** Address of the first pixel. */
  readonly address: number;
  private capacityBytes = 0;

  constructor(
    private readonly kernels: Kernels,
    readonly kind: 'u16' | 'f32',
    readonly count: number,
  ) {
    this.address = kernels.arena.alloc(0);
  }

  /** Makes room for the first `pixels` pixels. */
  reserve(pixels: number): void {
    this.reserveBytes(pixels * PIXEL_BYTES[this.kind], this.count * PIXEL_BYTES[this.kind]);
  }

  /** Makes room for all pixels as floats, for a conversion in place. */
  growToFloats(): void {
    const all = this.count * PIXEL_BYTES.f32;
    this.reserveBytes(all, all);
  }

  /** The first `pixels` pixels; valid until the next call. */
  view(pixels: number): Uint16Array | Float32Array {
    this.reserve(pixels);
    return this.kernels.arena[this.kind](this.address, pixels);
  }

  private reserveBytes(bytes: number, all: number): void {
    if (bytes <= this.capacityBytes) return;
    const wanted = Math.max(bytes, Math.min(this.capacityBytes + GROWTH_BYTES, all));
    this.kernels.arena.alloc(wanted - this.capacityBytes);
    this.capacityBytes = wanted;
  }
}

/**
 * Fills a frame's pixels from bytes that come in pieces of any size: each is copied once into the kernels' memory and
 * converted there. The staging buffer lies below the pixels and stays with the frame.
 */
export class PixelWriter {
  readonly memory: PixelMemory;
  readonly peak: Peak = { maximum: -Infinity, atMaximum: 0 };
  private written = 0;
  private readonly staging: number;
  private stagedBytes = 0;

  constructor(
    private readonly kernels: Kernels,
    private readonly format: PixelFormat,
    count: number,
  ) {
    this.staging = kernels.arena.alloc(STAGING_BYTES);
    this.memory = new PixelMemory(kernels, format.kind, count);
  }

  /** Takes the next bytes of the file. */
  write(piece: Uint8Array): void {
    for (let from = 0; from < piece.length;) {
      const part = piece.subarray(from, from + STAGING_BYTES - this.stagedBytes);
      this.kernels.arena.u8(this.staging + this.stagedBytes, part.length).set(part);
      this.stagedBytes += part.length;
      from += part.length;
      if (this.stagedBytes === STAGING_BYTES) this.convertStaged();
    }
  }

  /** Converts what is still staged. */
  finish(): void {
    this.convertStaged();
  }

  private convertStaged(): void {
    const { kind, storedBytes, convert } = this.format;
    const numbers = Math.min(Math.floor(this.stagedBytes / storedBytes), this.memory.count - this.written);
    if (numbers > 0) {
      this.memory.reserve(this.written + numbers);
      const target = this.memory.address + this.written * PIXEL_BYTES[kind];
      convert(this.staging, target, numbers);
      notePeak(this.kernels, kind, target, numbers, this.peak);
      this.written += numbers;
    }
    this.stagedBytes = 0; // STAGING_BYTES is a multiple of every size of number: nothing is cut in two
  }
}

/** The peak of pixels that are in place. */
export function peakOf(kernels: Kernels, kind: 'u16' | 'f32', address: number, count: number): Peak {
  const peak = { maximum: -Infinity, atMaximum: 0 };
  notePeak(kernels, kind, address, count, peak);
  return peak;
}

/** Notes the largest of some pixels while they are in the cache. */
function notePeak({ run }: Kernels, kind: 'u16' | 'f32', address: number, count: number, peak: Peak): void {
  const maximum = kind === 'u16' ? run.maxU16(address, count) : run.maxF32(address, count);
  if (maximum < peak.maximum || maximum === -Infinity) return;
  const here =
    kind === 'u16'
      ? run.countU16(address, count, maximum, maximum)
      : run.countF32(address, count, maximum, maximum);
  peak.atMaximum = maximum > peak.maximum ? here : peak.atMaximum + here;
  peak.maximum = maximum;
}
