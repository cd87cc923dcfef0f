import type { Colour, Mosaic } from '../../protocol/frame.ts';
import { numberIn, stringIn, type Header } from './header.ts';

const PATTERNS = ['RGGB', 'BGGR', 'GRBG', 'GBRG'];

/**
 * The colour filters over the stored rows. BAYERPAT is the pattern at the sensor's corner, XBAYROFF and YBAYROFF how far
 * the stored (0, 0) lies from there; only their parity matters. ROWORDER tells how to hang the picture on a wall and
 * changes nothing here. A frame without BAYERPAT is taken as monochrome.
 */
export function mosaicOf(headers: Header[], warnings: string[]): Mosaic | null {
  const written = stringIn(headers, 'BAYERPAT');
  if (written === null) return null;
  const letters = written.toUpperCase();
  if (!PATTERNS.includes(letters)) {
    warnings.push(
      `BAYERPAT is "${written.slice(0, 20)}" in the header, which is no pattern of colour filters: the frame is taken as monochrome.`,
    );
    return null;
  }
  const right = parity(numberIn(headers, 'XBAYROFF'));
  const down = parity(numberIn(headers, 'YBAYROFF'));
  const at = (x: number, y: number) => letters[((x + right) & 1) + 2 * ((y + down) & 1)] as Colour;
  return { pattern: [at(0, 0), at(1, 0), at(0, 1), at(1, 1)] };
}

const parity = (offset: number | null) => (Number.isInteger(offset) ? Math.abs(offset!) % 2 : 0);
