import { meshAt, type Sky } from '../background/sky.ts';
import type { Candidate } from '../detect/detect.ts';
import { median, SIGMA_PER_MAD } from '../math/robust.ts';
import type { Kernels } from '../wasm/kernels.ts';
import { ALL_SITES, type Plane } from '../wasm/plane.ts';
import type { GainGrid } from './gain-belief.ts';

/** Level and variance of many patches of sky of about the same level, stored units, with the variance's error. */
export interface SkyGroup {
  level: number;
  variance: number;
  sigma: number;
  /** Patches under the measured colour's filter, or under others. */
  own: boolean;
}

const PATCH_PX = 32;
/** Patches at most, spread over the frame. */
const MOST_PATCHES = 1200;
const MOST_GROUPS = 12;
const PATCHES_PER_GROUP = 10;
const LEAST_PAIRS = 60;
/** Stars are left out in blocks of this side. */
const BLOCK_PX = 4;
/** Differences beyond this many sigmas are no noise; a Gaussian keeps this share of its variance within them. */
const CLIP = 3;
const CLIPPED_VARIANCE = 0.97334;
/** Uneven pixels (some 1 % of the light, so a part of the variance that grows with its square) and what else bends the line. */
const SYSTEMATIC = 0.05;
/** Mean chi squared of the line's misses from which on colours are not believed to share one amplification. */
const BENT = 3;

/**
 * Variance of the sky against its level: vignetting, gradients and the filters of a mosaic let the level differ over the
 * frame. Differences of neighbours of one colour know neither offset nor gradient (EMVA 1288 release 4.0, sect. 6.6, takes them
 * between two frames).
 */
export function skyGroups(
  plane: Plane,
  sky: Sky,
  candidates: Candidate[],
  sizePx: number,
  { arena }: Kernels,
): SkyGroup[] {
  const { widthPx, heightPx } = plane;
  const pixels = arena[plane.kind](plane.address, widthPx * heightPx);
  const starlit = blocksOfStars(plane, candidates, sizePx);
  const mosaic = plane.sites !== ALL_SITES;
  const channels = mosaic ? coloursOf(plane.sites) : [{ sites: ALL_SITES, own: true }];
  const cols = Math.floor(widthPx / PATCH_PX);
  const rows = Math.floor(heightPx / PATCH_PX);
  const stride = Math.max(1, Math.ceil((cols * rows) / MOST_PATCHES));
  return channels.flatMap(({ sites, own }) => {
    const patches: Patch[] = [];
    for (let index = 0; index < cols * rows; index += stride) {
      const x0 = (index % cols) * PATCH_PX;
      const y0 = Math.floor(index / cols) * PATCH_PX;
      const order = meshAt(sky, sky.levels, plane, x0 + PATCH_PX / 2, y0 + PATCH_PX / 2);
      const patch = patchOf(pixels, plane, starlit, { x0, y0, sites, mosaic, quantum: sky.quantum });
      if (patch) patches.push({ ...patch, order });
    }
    return grouped(patches, own);
  });
}

interface Patch {
  level: number;
  variance: number;
  order: number;
}

/** The measured colour's sites together, and each of the others by itself. */
function coloursOf(sites: number): { sites: number; own: boolean }[] {
  const others = [1, 2, 4, 8].filter((bit) => !(sites & bit)).map((bit) => ({ sites: bit, own: false }));
  return [{ sites, own: true }, ...others];
}

function blocksOfStars({ widthPx, heightPx }: Plane, candidates: Candidate[], sizePx: number) {
  const cols = Math.ceil(widthPx / BLOCK_PX);
  const rows = Math.ceil(heightPx / BLOCK_PX);
  const lit = new Uint8Array(cols * rows);
  for (const { xPx, yPx, significance } of candidates) {
    const reach = sizePx * (3 + Math.log(Math.max(significance / 5, 1))) + 2;
    const [left, right] = [xPx - reach, xPx + reach].map((x) => Math.floor(x / BLOCK_PX));
    const [top, bottom] = [yPx - reach, yPx + reach].map((y) => Math.floor(y / BLOCK_PX));
    for (let row = Math.max(0, top); row <= Math.min(rows - 1, bottom); row++)
      lit.fill(1, row * cols + Math.max(0, left), row * cols + Math.min(cols - 1, right) + 1);
  }
  return { lit, cols };
}

function patchOf(
  pixels: Uint16Array | Float32Array,
  { widthPx, saturationStored }: Plane,
  starlit: { lit: Uint8Array; cols: number },
  at: { x0: number; y0: number; sites: number; mosaic: boolean; quantum: number },
): Omit<Patch, 'order'> | null {
  const apart = at.mosaic ? 2 : 1;
  const values: number[] = [];
  const differences: number[] = [];
  for (let y = at.y0; y < at.y0 + PATCH_PX; y++)
    for (let x = at.x0; x + apart < at.x0 + PATCH_PX; x++) {
      // Pairs that share no pixel: every second pixel of a colour with its neighbour.
      if (at.mosaic ? (x >> 1) & 1 : x & 1) continue;
      if (!(at.sites & (1 << ((x & 1) | ((y & 1) << 1))))) continue;
      const block = Math.floor(y / BLOCK_PX) * starlit.cols;
      if (
        starlit.lit[block + Math.floor(x / BLOCK_PX)] ||
        starlit.lit[block + Math.floor((x + apart) / BLOCK_PX)]
      )
        continue;
      const i = y * widthPx + x;
      const [a, b] = [pixels[i], pixels[i + apart]];
      if (!(a < saturationStored && b < saturationStored)) continue;
      values.push((a + b) / 2);
      differences.push(a - b + at.quantum * (evenly(i) - evenly(i + apart)));
    }
  if (differences.length < LEAST_PAIRS) return null;
  const limit = CLIP * SIGMA_PER_MAD * median(differences.map(Math.abs));
  let [count, levels, squares] = [0, 0, 0];
  for (let i = 0; i < differences.length; i++) {
    if (Math.abs(differences[i]) > limit) continue;
    count++;
    levels += values[i];
    squares += differences[i] ** 2;
  }
  // The dither has the variance of the steps themselves, quantum² / 12, which are in the noise already.
  return {
    level: levels / count,
    variance: squares / count / 2 / CLIPPED_VARIANCE - at.quantum ** 2 / 12,
  };
}

/** Evenly spread between -1/2 and 1/2, the same for the same pixel: blurs the steps of coarse values. */
function evenly(pixel: number): number {
  let bits = Math.imul(pixel ^ 0x9e3779b9, 0x85ebca6b);
  bits = Math.imul(bits ^ (bits >>> 13), 0xc2b2ae35);
  return ((bits ^ (bits >>> 16)) >>> 0) / 2 ** 32 - 0.5;
}

function grouped(patches: Patch[], own: boolean): SkyGroup[] {
  const sorted = [...patches].sort((a, b) => a.order - b.order);
  const count = Math.min(MOST_GROUPS, Math.floor(sorted.length / PATCHES_PER_GROUP));
  return Array.from({ length: count }, (_, group) => {
    const members = sorted
      .slice(Math.floor((group * sorted.length) / count), Math.floor(((group + 1) * sorted.length) / count))
      .sort((a, b) => a.variance - b.variance);
    // A tenth at each end is left out: what hides in a patch only widens its noise.
    const cut = Math.floor(members.length / 10);
    const kept = members.slice(cut, members.length - cut);
    const mean = (of: (patch: Patch) => number) => kept.reduce((sum, one) => sum + of(one), 0) / kept.length;
    const variance = mean((patch) => patch.variance);
    const scatter = SIGMA_PER_MAD * median(members.map((patch) => Math.abs(patch.variance - variance)));
    return {
      level: mean((patch) => patch.level),
      variance,
      sigma: (1.1 * scatter) / Math.sqrt(members.length),
      own,
    };
  });
}

/** Stored units per electron and its error, from the line through the groups; null when they do not tell. */
export function slopeOf(groups: SkyGroup[]): { units: number; sigma: number } | null {
  const all = lineThrough(groups);
  const own = groups.filter((group) => group.own);
  const line = all && all.bend > BENT && own.length < groups.length ? lineThrough(own) : all;
  if (!line) return null;
  const { units, sigma, bend } = line;
  return { units, sigma: Math.hypot(sigma * Math.sqrt(Math.max(1, bend)), SYSTEMATIC * units) };
}

function lineThrough(groups: SkyGroup[]): { units: number; sigma: number; bend: number } | null {
  if (groups.length < 3 || !groups.every(({ sigma }) => sigma > 0)) return null;
  let [w, wx, wy] = [0, 0, 0];
  for (const { level, variance, sigma } of groups) {
    w += sigma ** -2;
    wx += level / sigma ** 2;
    wy += variance / sigma ** 2;
  }
  const [level0, variance0] = [wx / w, wy / w];
  let [xx, xy] = [0, 0];
  for (const { level, variance, sigma } of groups) {
    xx += ((level - level0) / sigma) ** 2;
    xy += ((level - level0) * (variance - variance0)) / sigma ** 2;
  }
  if (!(xx > 0)) return null;
  const units = xy / xx;
  const chi2 = groups.reduce(
    (sum, { level, variance, sigma }) =>
      sum + ((variance - variance0 - units * (level - level0)) / sigma) ** 2,
    0,
  );
  return { units, sigma: 1 / Math.sqrt(xx), bend: chi2 / (groups.length - 2) };
}

/** Logarithm of the likelihood of each gain. */
export function skyLikelihood({ logUnits }: GainGrid, groups: SkyGroup[]): Float64Array {
  const slope = slopeOf(groups);
  if (!slope) return new Float64Array(logUnits.length);
  return logUnits.map((logU) => -0.5 * ((Math.exp(logU) - slope.units) / slope.sigma) ** 2);
}
