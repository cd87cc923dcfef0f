import { meshAt, type Sky } from '../background/sky.ts';
import { median } from '../math/robust.ts';
import { select } from '../math/select.ts';
import type { Moments } from '../math/shape.ts';
import type { Arena } from '../wasm/arena.ts';
import type { Kernels } from '../wasm/kernels.ts';
import type { Plane } from '../wasm/plane.ts';
import { doubleImage, type Kick } from './companions.ts';
import type { Patch, Peak } from './components.ts';

/** How many of the brightest patches vote on what a star of this frame looks like. */
const VOTERS = 60;
/** Of adaptive moments, none of them fast (kernels/stamp.ts): patches may be anything. */
const ROUNDS = 30;
const MAX_RADIUS_PX = 60;
const LARGEST_STAR_PX = 80;
const LIST_ARRAYS = 5;

/**
 * The typical star of the frame as second moments: the median of adaptive moments of the brightest patches that touch
 * neither the border nor the camera's limit; `peaks` are those of all patches, brightest first. Null when none can be
 * measured.
 */
export function typicalShape(
  plane: Plane,
  sky: Sky,
  patches: Patch[],
  peaks: Peak[],
  kernels: Kernels,
): Moments | null {
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
  const kick = doubleImage(peaks);
  return kick ? withKick(shape, kick) : shape;
}

function brightest(plane: Plane, patches: Patch[]): Patch[] {
  const { widthPx, heightPx } = plane;
  const whole = patches.filter(
    ({ x0, y0, x1, y1, pixels }) => x0 > 2 && y0 > 2 && x1 < widthPx - 2 && y1 < heightPx - 2 && pixels >= 4,
  );
  // Only those that come to vote are sorted.
  const asked = Math.min(4 * VOTERS, whole.length);
  const heights = Float64Array.from(whole, brightness);
  const sorted = heights.slice();
  select(sorted, sorted.length, sorted.length - asked);
  return whole
    .filter((_, i) => heights[i] >= sorted[sorted.length - asked])
    .sort((a, b) => brightness(b) - brightness(a))
    .slice(0, asked);
}

const brightness = (patch: Patch) => patch.peaks[0].significance * Math.sqrt(patch.pixels);

function patchMoments(plane: Plane, sky: Sky, patch: Patch, { run, arena }: Kernels): Moments | null {
  const patchPx = Math.max(patch.x1 - patch.x0, patch.y1 - patch.y0);
  // A patch larger than any star is a nebula or a crowd: look at its highest peak alone.
  const whole = patchPx < LARGEST_STAR_PX;
  const spanPx = whole ? patchPx : 8;
  const radius = Math.min(MAX_RADIUS_PX, 0.75 * spanPx + 6);
  const cx = whole ? Math.round((patch.x0 + patch.x1 - 1) / 2) : patch.peaks[0].x;
  const cy = whole ? Math.round((patch.y0 + patch.y1 - 1) / 2) : patch.peaks[0].y;
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
  levelOff(arena, list, capacity, count, radius);
  const start = Math.max(1, spanPx / 5);
  arena.f64(state, 5).set([0, 0, start * start, start * start, 0]);
  const rounds =
    saturated > 0 ? -1 : run.adaptiveMoments(list, capacity, count, state, ROUNDS, 0, radius, radius / 2);
  const [, , xx, yy, xy] = arena.f64(state, 5);
  arena.reset(mark);
  return rounds < 0 ? null : { xx, yy, xy };
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

/** Takes the median of the outermost pixels off a list's values: a nebula under the star would widen its moments. */
function levelOff(arena: Arena, list: number, capacity: number, count: number, radius: number): void {
  const x = arena.f32(list, count);
  const y = arena.f32(list + 4 * capacity, count);
  const values = arena.f32(list + 8 * capacity, count);
  const outer: number[] = [];
  for (let i = 0; i < count; i++) if (x[i] ** 2 + y[i] ** 2 > (0.8 * radius) ** 2) outer.push(values[i]);
  if (outer.length === 0) return;
  const level = median(outer);
  for (let i = 0; i < count; i++) values[i] -= level;
}
