import type { Colour, Frame, Mosaic } from '../protocol/frame.ts';
import { select } from '../math/select.ts';
import type { Arena } from '../wasm/arena.ts';

/** Windows over the frame, and pixels of a window's side: 4096 pixels of each site. */
const WINDOWS = 3;
const SIDE_PX = 128;
/** Windows that must agree, of nine; none may say the other diagonal. */
const MOST_AGREE = 6;
/** Standard errors by which the sites' levels differ behind colour filters. */
const DIFFERENT = 8;
/** Greens are alike within this share of the difference between brightest and darkest site. */
const ALIKE = 0.2;
const CLIP_SIGMAS = 3;

type Diagonal = 'main' | 'anti';

/**
 * Which diagonal of the 2 x 2 sites shows the same sky twice while the rest differs: the greens of a colour mosaic. Null
 * where the sites are alike (a monochrome sensor, or a sky too dark to tell) or differ by row or column only, as the two
 * amplifiers of a sensor do. `main` holds (0, 0) and (1, 1) of the stored rows.
 */
export function greenDiagonal(
  frame: Frame,
  arena: Arena,
): { diagonal: Diagonal; levels: readonly number[] } | null {
  const { widthPx, heightPx } = frame;
  if (frame.planes !== 1 || Math.min(widthPx, heightPx) < SIDE_PX) return null;
  const pixels = arena[frame.pixels.kind](frame.pixels.address, widthPx * heightPx);
  const votes: Record<Diagonal, number> = { main: 0, anti: 0 };
  const levels = [0, 0, 0, 0];
  for (let window = 0; window < WINDOWS * WINDOWS; window++) {
    // Where too few windows are left to agree, no more need be asked.
    if (Math.max(votes.main, votes.anti) + WINDOWS * WINDOWS - window < MOST_AGREE) return null;
    const place = (index: number, size: number) =>
      2 * Math.floor(((size - SIDE_PX) * (index + 0.5)) / WINDOWS / 2);
    const x0 = place(window % WINDOWS, widthPx);
    const y0 = place(Math.floor(window / WINDOWS), heightPx);
    const sites = [0, 1, 2, 3].map((site) => siteLevel(pixels, widthPx, x0 + (site & 1), y0 + (site >> 1)));
    const vote = voteOf(sites);
    if (!vote) continue;
    votes[vote]++;
    sites.forEach(({ level }, site) => (levels[site] += level));
  }
  for (const diagonal of ['main', 'anti'] as const)
    if (votes[diagonal] >= MOST_AGREE && votes[diagonal === 'main' ? 'anti' : 'main'] === 0)
      return { diagonal, levels };
  return null;
}

/** The pattern that the sites' light suggests: the brighter of the other two is called red, which may be wrong. */
export function mosaicFromLight({
  diagonal,
  levels,
}: {
  diagonal: Diagonal;
  levels: readonly number[];
}): Mosaic {
  const [one, two] = diagonal === 'main' ? [1, 2] : [0, 3];
  const red = levels[one] >= levels[two] ? one : two;
  const colour = (site: number): Colour => (site === red ? 'R' : site === one || site === two ? 'B' : 'G');
  return { pattern: [colour(0), colour(1), colour(2), colour(3)] };
}

export const greensOf = ({ pattern }: Mosaic): Diagonal => (pattern[0] === 'G' ? 'main' : 'anti');

interface SiteLevel {
  level: number;
  sigma: number;
}

/** Mean of one site's pixels in a window without its stars, and its standard error. */
function siteLevel(pixels: Uint16Array | Float32Array, widthPx: number, x0: number, y0: number): SiteLevel {
  const values = new Float64Array((SIDE_PX / 2) ** 2);
  let count = 0;
  for (let y = 0; y < SIDE_PX - 1; y += 2)
    for (let x = 0; x < SIDE_PX - 1; x += 2) {
      const value = pixels[(y0 + y) * widthPx + x0 + x];
      if (!Number.isNaN(value)) values[count++] = value;
    }
  let clipped = statisticsOf(values, count);
  for (let round = 0; round < 5 && count > 0; round++) {
    const reach = CLIP_SIGMAS * clipped.sigma;
    let kept = 0;
    for (let i = 0; i < count; i++)
      if (Math.abs(values[i] - clipped.middle) <= reach) values[kept++] = values[i];
    if (kept === count) break;
    count = kept;
    clipped = statisticsOf(values, count);
  }
  return { level: clipped.mean, sigma: clipped.sigma / Math.sqrt(count) };
}

/** Median, mean and standard deviation of the first `count` values, which change their places. */
function statisticsOf(values: Float64Array, count: number): { middle: number; mean: number; sigma: number } {
  select(values, count, count >> 1);
  const middle = values[count >> 1];
  let [sum, squares] = [0, 0];
  for (let i = 0; i < count; i++) {
    const off = values[i] - middle;
    sum += off;
    squares += off * off;
  }
  const mean = sum / count;
  return { middle, mean: middle + mean, sigma: Math.sqrt(Math.max(0, squares / count - mean * mean)) };
}

function voteOf(sites: readonly SiteLevel[]): Diagonal | null {
  const levels = sites.map(({ level }) => level);
  const error = Math.SQRT2 * Math.max(...sites.map(({ sigma }) => sigma));
  const spread = Math.max(...levels) - Math.min(...levels);
  if (!(spread > DIFFERENT * error)) return null;
  const main = Math.abs(levels[0] - levels[3]);
  const anti = Math.abs(levels[1] - levels[2]);
  const alike = (difference: number) => difference < Math.max(ALIKE * spread, 3 * error);
  if (alike(main) && alike(anti)) return levels[0] + levels[3] > levels[1] + levels[2] ? 'main' : 'anti';
  // Rows or columns that alternate differ by as much on either diagonal.
  if (alike(main) && anti > 2 * main) return 'main';
  if (alike(anti) && main > 2 * anti) return 'anti';
  return null;
}
