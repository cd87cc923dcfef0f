import { ALL_SITES, type Plane } from '../../workers/wasm/plane.ts';
import { loadKernels, type Kernels } from '../../workers/wasm/kernels.ts';

let shared: Promise<Kernels> | null = null;
/** One instance of the kernels for all tests of a file. */
export const testKernels = (): Promise<Kernels> => (shared ??= loadKernels());

/** Sites of a mosaic RGGB: bit (x & 1) + 2 (y & 1). */
export const SITES = { all: ALL_SITES, greensOfRggb: 6, greensOfGrbg: 9, redsOfRggb: 1, bluesOfRggb: 8 };

export const counts = (sites: number, x: number, y: number): boolean =>
  ((sites >> ((x & 1) | ((y & 1) << 1))) & 1) === 1;

/** A picture in plain JavaScript, as the kernels see it. */
export interface Picture {
  pixels: Uint16Array | Float32Array;
  widthPx: number;
  heightPx: number;
}

/**
 * Copies a picture into the kernels' memory, to stay there until the arena is reset. The byte behind it is poisoned:
 * a kernel that reads too far sees a huge number.
 */
export function planeOf(
  { arena }: Kernels,
  { pixels, widthPx, heightPx }: Picture,
  { sites = ALL_SITES, saturationStored = Infinity } = {},
): Plane {
  const kind = pixels instanceof Uint16Array ? 'u16' : 'f32';
  const address = arena.alloc(pixels.byteLength + 64);
  arena.u8(address + pixels.byteLength, 64).fill(0x7e);
  arena[kind](address, pixels.length).set(pixels);
  return { kind, address, widthPx, heightPx, sites, saturationStored };
}

/** Runs `work` and gives back what it allocated in the kernels' memory. */
export function inArena<T>({ arena }: Kernels, work: () => T): T {
  const mark = arena.mark();
  try {
    return work();
  } finally {
    arena.reset(mark);
  }
}
