import type { Colour, Mosaic } from '../../protocol/frame.ts';
import type { Directory } from './directory.ts';
import { TAG } from './tags.ts';

const COLOURS: (Colour | undefined)[] = ['R', 'G', 'B'];
const MOSAIC_PHOTOMETRIC = 32803;

/** The colour filters at stored (0, 0) of a 2 x 2 mosaic (TIFF/EP, CFAPattern); null for anything else. */
export async function mosaicOf(page: Directory): Promise<Mosaic | null> {
  if ((await page.number(TAG.photometric, 1)) !== MOSAIC_PHOTOMETRIC) return null;
  const size = await page.numbers(TAG.cfaSize, 2);
  const colours = (await page.numbers(TAG.cfaPattern, 4)).map((index) => COLOURS[index]);
  if (size.join() !== '2,2' || colours.length !== 4 || colours.includes(undefined)) return null;
  // The pattern counts from the corner of the light-sensitive area, which may lie within the stored pixels.
  const [top = 0, left = 0] = await page.numbers(TAG.activeArea, 2);
  const at = (x: number, y: number) => colours[((x + left) & 1) + 2 * ((y + top) & 1)]!;
  return { pattern: [at(0, 0), at(1, 0), at(0, 1), at(1, 1)] };
}
