import { BATCH } from './binomial';
import { held, heldF32 } from './lanes';

// The sky of a few rows of the frame, as detection takes it off.

/** Sky and noise vary slowly: their rows are renewed only so often. */
export const SKY_ROWS: i32 = 4;
/** Columns, a multiple of four, whose sky is laid out at a time, so that it is still in the cache when it is taken off. */
export const TILE_PX: i32 = 512;
/** Between rows of the sky, in bytes: a tile and room for three more. */
export const SKY_STRIDE: usize = (<usize>(TILE_PX + 4)) << 2;
/** Sky, weights of even rows and of odd rows, for the first SKY_ROWS rows of a batch and for the others. */
export const SKY: usize = memory.data(6 * (TILE_PX + 4) * 4, 16);

/** Lays out the sky of a batch of rows that begins at y0, from column x0 to x1 (exclusive), see `skyRows`. */
export function laySky(
  levels: usize, sigmas: usize, cols: i32, rows: i32, width: i32, height: i32, x0: i32, x1: i32, y0: i32, sites: i32,
): void {
  let row = SKY - ((<usize>x0) << 2);
  for (let y = y0; y < y0 + BATCH; y += SKY_ROWS, row += 3 * SKY_STRIDE) {
    skyRows(levels, sigmas, cols, rows, width, height, x0, x1, y + SKY_ROWS / 2, sites, row, row + SKY_STRIDE, row + 2 * SKY_STRIDE);
  }
}

/**
 * Sky level and 1/noise of row y, linear between the mesh nodes; weights are zero where the site does not count. Three
 * rows of f32, written from x0 to x1 (exclusive) and up to three beyond.
 */
function skyRows(
  levels: usize, sigmas: usize, cols: i32, rows: i32, width: i32, height: i32, x0: i32, x1: i32, y: i32, sites: i32,
  sky: usize, weightEven: usize, weightOdd: usize,
): void {
  let fy = ((<f32>y + 0.5) * <f32>rows) / <f32>height - 0.5;
  fy = max<f32>(0, min<f32>(fy, <f32>(rows - 1)));
  const j = min(<i32>fy, max(rows - 2, 0));
  const v = fy - <f32>j;
  const upper = (<usize>(j * cols)) << 2;
  const lower = (<usize>(min(j + 1, rows - 1) * cols)) << 2;
  const nodesPerPx = <f32>cols / <f32>width;
  const lastCell = max(cols - 2, 0);
  const one = heldF32(0, 1);
  const least = heldF32(1, 1e-20);
  const even = held(2, siteLanes(sites & 3));
  const odd = held(3, siteLanes((sites >> 2) & 3));
  const scale = heldF32(8, nodesPerPx);
  const middles = held(9, f32x4(0.5, 1.5, 2.5, 3.5));
  const half = heldF32(10, 0.5);
  const last = heldF32(11, cols - 1);
  let x = x0;
  while (x < x1) {
    const place = max<f32>(0, (<f32>x + 0.5) * nodesPerPx - 0.5);
    const i = min(<i32>place, lastCell);
    // Vectors that begin at `stop` or beyond reach past the next node.
    const stop = i == lastCell ? x1 : min(x1, <i32>(Mathf.floor((<f32>i + 1.5) / nodesPerPx - 0.5)) - 2);
    const level0 = held(4, meshNode(levels, upper, lower, cols, i, v));
    const level1 = held(5, f32x4.sub(meshNode(levels, upper, lower, cols, i + 1, v), level0));
    const sigma0 = held(6, meshNode(sigmas, upper, lower, cols, i, v));
    const sigma1 = held(7, f32x4.sub(meshNode(sigmas, upper, lower, cols, i + 1, v), sigma0));
    const start = heldF32(12, i);
    for (; x < stop; x += 4) {
      const u = f32x4.sub(placesFrom(x, middles, scale, half, last), start);
      const level = f32x4.add(level0, f32x4.mul(u, level1));
      const sigma = f32x4.add(sigma0, f32x4.mul(u, sigma1));
      const inverse = f32x4.div(one, f32x4.pmax(least, sigma));
      const at = (<usize>x) << 2;
      v128.store(sky + at, level);
      v128.store(weightEven + at, v128.and(inverse, even));
      v128.store(weightOdd + at, v128.and(inverse, odd));
    }
    if (x >= x1) return;
    // Nodes are far wider than four pixels: at most one of them lies between the lanes.
    const u = f32x4.sub(placesFrom(x, middles, scale, half, last), start);
    const beyond = f32x4.gt(u, one);
    const w = f32x4.sub(u, one);
    const level2 = meshNode(levels, upper, lower, cols, i + 1, v);
    const sigma2 = meshNode(sigmas, upper, lower, cols, i + 1, v);
    const level3 = f32x4.sub(meshNode(levels, upper, lower, cols, i + 2, v), level2);
    const sigma3 = f32x4.sub(meshNode(sigmas, upper, lower, cols, i + 2, v), sigma2);
    const level = v128.bitselect(f32x4.add(level2, f32x4.mul(w, level3)), f32x4.add(level0, f32x4.mul(u, level1)), beyond);
    const sigma = v128.bitselect(f32x4.add(sigma2, f32x4.mul(w, sigma3)), f32x4.add(sigma0, f32x4.mul(u, sigma1)), beyond);
    const inverse = f32x4.div(one, f32x4.pmax(least, sigma));
    const at = (<usize>x) << 2;
    v128.store(sky + at, level);
    v128.store(weightEven + at, v128.and(inverse, even));
    v128.store(weightOdd + at, v128.and(inverse, odd));
    x += 4;
  }
}

/** Places of four pixels from x in nodes of the mesh, level beyond the outermost; `middles`: 0.5 to 3.5. */
// @ts-ignore: decorator
@inline
function placesFrom(x: i32, middles: v128, nodesPerPx: v128, half: v128, last: v128): v128 {
  const places = f32x4.sub(f32x4.mul(f32x4.add(f32x4.splat(<f32>x), middles), nodesPerPx), half);
  return f32x4.pmax(f32x4.splat(0), f32x4.pmin(places, last));
}

/** The mesh on a row at its node i, the last one for all beyond. */
// @ts-ignore: decorator
@inline
function meshNode(mesh: usize, upper: usize, lower: usize, cols: i32, i: i32, v: f32): v128 {
  const at = (<usize>min(i, cols - 1)) << 2;
  const u: f32 = 1 - v;
  return f32x4.splat(u * load<f32>(mesh + upper + at) + v * load<f32>(mesh + lower + at));
}

/** Lanes of four pixels from an even x, all bits set where a row's site counts. */
// @ts-ignore: decorator
@inline
function siteLanes(pair: i32): v128 {
  const first = -(pair & 1);
  const second = -((pair >> 1) & 1);
  return i32x4.replace_lane(i32x4.replace_lane(i32x4.splat(first), 1, second), 3, second);
}
