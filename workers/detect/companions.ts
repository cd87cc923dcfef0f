import { median } from '../math/robust.ts';
import { select } from '../math/select.ts';
import type { Patch, Peak } from './components.ts';

const PRIMARIES = 40;
const COMPANION_PX = 40;
const SAME_OFFSET_PX = 1.6;
const FEWEST = 5;

/** Two images of every star: offset of the fainter from the brighter and its share of the light. */
export interface Kick {
  dx: number;
  dy: number;
  minority: number;
}

interface Offset {
  dx: number;
  dy: number;
  ratio: number;
  /** Index of the bright peak that it starts from. */
  owner: number;
}

/**
 * A kicked mount draws every star twice: the same offset and the same ratio behind the bright stars. Returns that
 * offset when a third of the 40 brightest peaks (and five) share it: the fainter images of bright pairs are among the
 * 40 themselves, so a third is already a majority. Null for single stars and for regular grids.
 */
export function doubleImage(peaks: Peak[]): Kick | null {
  const shared = commonOffset(peaks, 0.1, 1);
  if (shared.length === 0) return null;
  const owners = ownersOf(shared);
  const primaries = Math.min(PRIMARIES, peaks.length);
  if (owners < FEWEST || owners < primaries / 3) return null;
  if (shared.filter((offset) => goesOn(peaks, offset)).length > shared.length / 3) return null;
  const ratio = median(shared.map((offset) => offset.ratio));
  return {
    dx: median(shared.map((offset) => offset.dx)),
    dy: median(shared.map((offset) => offset.dy)),
    minority: ratio / (1 + ratio),
  };
}

/** Whether the bright spots form a regular grid: most have an equal at the same offset, and that one has one again. */
export function isSpotGrid(peaks: Peak[]): boolean {
  const shared = commonOffset(peaks, 0.25, 4);
  const primaries = Math.min(PRIMARIES, peaks.length);
  if (primaries < 16 || ownersOf(shared) < 0.6 * primaries) return false;
  return shared.filter((offset) => goesOn(peaks, offset)).length > 0.5 * shared.length;
}

/** The peaks of all patches: the brightest in front and in order, as many as are looked at one by one, then the others. */
export function brightestFirst(patches: Patch[]): Peak[] {
  const peaks: Peak[] = [];
  for (const patch of patches) for (const peak of patch.peaks) peaks.push(peak);
  if (peaks.length <= PRIMARIES) return peaks.sort(bySignificance);
  const heights = Float64Array.from(peaks, (peak) => peak.significance);
  const last = heights.length - PRIMARIES;
  select(heights, heights.length, last);
  const least = heights[last];
  const bright = peaks.filter((peak) => peak.significance >= least).sort(bySignificance);
  return bright.concat(peaks.filter((peak) => peak.significance < least));
}

const bySignificance = (a: Peak, b: Peak) => b.significance - a.significance;

const ownersOf = (offsets: Offset[]): number => new Set(offsets.map((offset) => offset.owner)).size;

/** The offsets from bright peaks to others of a brightness ratio between the two, that most bright peaks share. */
function commonOffset(peaks: Peak[], leastRatio: number, mostRatio: number): Offset[] {
  const offsets: Offset[] = [];
  const xs = Int32Array.from(peaks, (peak) => peak.x);
  const ys = Int32Array.from(peaks, (peak) => peak.y);
  for (let owner = 0; owner < Math.min(PRIMARIES, peaks.length); owner++) {
    const [left, top] = [xs[owner] - COMPANION_PX, ys[owner] - COMPANION_PX];
    for (let other = 0; other < peaks.length; other++) {
      // As unsigned numbers, those in front are larger than any: one comparison for both sides.
      if ((xs[other] - left) >>> 0 > 2 * COMPANION_PX || (ys[other] - top) >>> 0 > 2 * COMPANION_PX) continue;
      const dx = xs[other] - xs[owner];
      const dy = ys[other] - ys[owner];
      const ratio = peaks[other].significance / peaks[owner].significance;
      const distance = Math.hypot(dx, dy);
      if (ratio < leastRatio || ratio >= mostRatio || distance < 2 || distance > COMPANION_PX) continue;
      offsets.push({ dx, dy, ratio, owner });
    }
  }
  let best: Offset[] = [];
  let most = 0;
  for (const seed of offsets) {
    const near = offsets.filter((o) => Math.hypot(o.dx - seed.dx, o.dy - seed.dy) <= SAME_OFFSET_PX);
    const owners = ownersOf(near);
    if (owners > most) [best, most] = [near, owners];
  }
  return best;
}

/** In a grid the companion has a companion again, one step further; a second image has none. */
function goesOn(peaks: Peak[], { dx, dy, owner }: Offset): boolean {
  return peaks.some((peak) => {
    const x = peak.x - peaks[owner].x - 2 * dx;
    const y = peak.y - peaks[owner].y - 2 * dy;
    return Math.hypot(x, y) <= 2 * SAME_OFFSET_PX;
  });
}
