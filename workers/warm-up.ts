import { bytesSource } from './decode/sources.ts';
import type { FrameSession } from './session.ts';

const SIDE = 128;
const BLOCK = 2880;

/**
 * Runs the whole pipeline over a small synthetic frame, so that the compiler has seen every path and the memory is
 * touched before the first real frame arrives. What it finds does not matter.
 */
export async function warmUpKernels(session: FrameSession): Promise<void> {
  await session.measure(bytesSource('warm-up', syntheticFits()), { rig: {} });
}

/** Noise and a few round spots as a 16-bit FITS file. */
function syntheticFits(): Uint8Array {
  const cards = [
    'SIMPLE  = T',
    'BITPIX  = 16',
    'NAXIS   = 2',
    `NAXIS1  = ${SIDE}`,
    `NAXIS2  = ${SIDE}`,
    'END',
  ];
  const header = cards
    .map((card) => card.replace('= ', '= '.padEnd(20)).padEnd(80))
    .join('')
    .padEnd(BLOCK);
  const bytes = new Uint8Array(BLOCK + Math.ceil((SIDE * SIDE * 2) / BLOCK) * BLOCK);
  bytes.set(new TextEncoder().encode(header));
  const data = new DataView(bytes.buffer, BLOCK);
  let seed = 1;
  for (let y = 0; y < SIDE; y++)
    for (let x = 0; x < SIDE; x++) {
      seed = (Math.imul(seed, 1664525) + 1013904223) | 0;
      const spot = Math.exp(-(((x % 32) - 16) ** 2 + ((y % 32) - 16) ** 2) / 4);
      data.setInt16(2 * (y * SIDE + x), 1000 + (seed >>> 28) + 900 * spot);
    }
  return bytes;
}
