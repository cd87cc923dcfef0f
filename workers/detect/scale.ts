import { meshAt, type Sky } from '../background/sky.ts';
import { median } from '../math/robust.ts';
import type { Moments } from '../math/shape.ts';
import type { Kernels } from '../wasm/kernels.ts';
import type { Plane } from '../wasm/plane.ts';
import type { Patch } from './components.ts';

/** How many of the brightest patches vote on what a star of this frame looks like. */
const VOTERS = 60;
const MAX_RADIUS_PX = 60;
const LIST_ARRAYS = 5;

/**
 * The typical star of the frame as second moments: the median of adaptive moments of the brightest patches that touch
 * neither the border nor the camera's limit. Null when none can be measured.
 */
export function typicalShape(plane: Plane, sky: Sky, patches: Patch[], kernels: Kernels): Moments | null {
  const shapes: Moments[] = [];
  for (const patch of brightest(plane, patches)) {
    const shape = patchMoments(plane, sky, patch, kernels);
    if (shape) shapes.push(shape);
    if (shapes.length === VOTERS) break;
  }
  if (shapes.length === 0) return null;
  const shape = {
    xx: median(shapes.map((each) => each.xx)),
    yy: median(shapes.map((each) => each.yy)),
    xy: median(shapes.map((each) => each.xy)),
  };
  const kick = commonCompanion(patches);
  return kick ? withKick(shape, kick) : shape;
}

function brightest(plane: Plane, patches: Patch[]): Patch[] {
  const { widthPx, heightPx } = plane;
  return patches
    .filter((patch) => patch.x0 > 2 && patch.y0 > 2 && patch.x1 < widthPx - 2 && patch.y1 < heightPx - 2)
    .filter((patch) => patch.pixels >= 4)
    .sort((a, b) => brightness(b) - brightness(a))
    .slice(0, 4 * VOTERS);
}

const brightness = (patch: Patch) => patch.peaks[0].significance * Math.sqrt(patch.pixels);

function patchMoments(plane: Plane, sky: Sky, patch: Patch, { run, arena }: Kernels): Moments | null {
  const spanPx = Math.max(patch.x1 - patch.x0, patch.y1 - patch.y0);
  const radius = Math.min(MAX_RADIUS_PX, 0.75 * spanPx + 6);
  const cx = Math.round((patch.x0 + patch.x1 - 1) / 2);
  const cy = Math.round((patch.y0 + patch.y1 - 1) / 2);
  const capacity = (4 * Math.ceil(radius) ** 2 + 8 * Math.ceil(radius) + 12) & ~3;
  const mark = arena.mark();
  const list = arena.alloc(capacity * 4 * LIST_ARRAYS);
  const stats = arena.alloc(32);
  const state = arena.alloc(40);
  const gather = plane.kind === 'u16' ? run.gatherU16 : run.gatherF32;
  const count = gather(
    plane.address,
    plane.widthPx,
    plane.heightPx,
    cx,
    cy,
    radius,
    meshAt(sky, sky.levels, plane, cx, cy),
    meshAt(sky, sky.sigmas, plane, cx, cy),
    plane.sites,
    plane.saturationStored,
    0,
    0,
    list,
    capacity,
    stats,
  );
  const saturated = arena.f64(stats, 4)[0];
  const start = Math.max(1, spanPx / 5);
  arena.f64(state, 5).set([0, 0, start * start, start * start, 0]);
  const rounds =
    saturated > 0 ? -1 : run.adaptiveMoments(list, capacity, count, state, 30, radius, radius / 2);
  const [, , xx, yy, xy] = arena.f64(state, 5);
  arena.reset(mark);
  return rounds < 0 ? null : { xx, yy, xy };
}

interface Kick {
  dx: number;
  dy: number;
  /** Share of the light in the fainter image. */
  minority: number;
}

const COMPANION_PX = 40;
const SAME_OFFSET_PX = 1.6;

/**
 * A kicked mount draws every star twice: the same offset and the same ratio behind most bright stars. Returns that
 * offset when at least half of the 40 brightest peaks (and five) share it.
 */
export function commonCompanion(patches: Patch[]): Kick | null {
  const peaks = patches.flatMap((patch) => patch.peaks).sort((a, b) => b.significance - a.significance);
  const primaries = peaks.slice(0, 40);
  const offsets: { dx: number; dy: number; ratio: number; owner: number }[] = [];
  primaries.forEach((primary, owner) => {
    for (const other of peaks) {
      const ratio = other.significance / primary.significance;
      const dx = other.x - primary.x;
      const dy = other.y - primary.y;
      const distance = Math.hypot(dx, dy);
      if (ratio < 0.1 || ratio >= 1 || distance < 2 || distance > COMPANION_PX) continue;
      offsets.push({ dx, dy, ratio, owner });
    }
  });
  let best: typeof offsets = [];
  for (const seed of offsets) {
    const near = offsets.filter((o) => Math.hypot(o.dx - seed.dx, o.dy - seed.dy) <= SAME_OFFSET_PX);
    if (new Set(near.map((o) => o.owner)).size > new Set(best.map((o) => o.owner)).size) best = near;
  }
  const owners = new Set(best.map((o) => o.owner)).size;
  // The fainter images of bright pairs are among the primaries themselves, so a third of them is already a majority.
  if (owners < 5 || owners < primaries.length / 3) return null;
  // In a regular grid of spots the companion has a companion again; a second image has none.
  const chained = best.filter(({ dx, dy, owner }) =>
    peaks.some((peak) => {
      const x = peak.x - primaries[owner].x - 2 * dx;
      const y = peak.y - primaries[owner].y - 2 * dy;
      return Math.hypot(x, y) <= 2 * SAME_OFFSET_PX;
    }),
  );
  if (chained.length > best.length / 3) return null;
  const ratio = median(best.map((o) => o.ratio));
  return {
    dx: median(best.map((o) => o.dx)),
    dy: median(best.map((o) => o.dy)),
    minority: ratio / (1 + ratio),
  };
}

/** Moments of a star drawn twice: variance q (1 - q) d d' on top of one image's own. */
function withKick(shape: Moments, { dx, dy, minority }: Kick): Moments {
  const factor = minority * (1 - minority);
  const own = { major: shape.xx + shape.yy, jump: factor * (dx * dx + dy * dy) };
  if (own.major > own.jump * 3) return shape; // the moments already saw both images
  return {
    xx: shape.xx + factor * dx * dx,
    yy: shape.yy + factor * dy * dy,
    xy: shape.xy + factor * dx * dy,
  };
}
