import type { MeanStar } from '../protocol/api.ts';
import { PICTURE_SAMPLES_PER_PX } from '../protocol/model.ts';
import { FLAG, NOT_FOR_SHAPE } from '../protocol/flags.ts';
import type { StarTable } from '../protocol/stars.ts';
import type { Kernels } from '../wasm/kernels.ts';
import type { Plane } from '../wasm/plane.ts';
import { cellOf } from './grid.ts';

const SAMPLES_PER_PX = PICTURE_SAMPLES_PER_PX;
const STARS_PER_CELL = 24;
const MIN_SNR = 15;
/** A very bright star must not stand for the whole cell. */
const MOST_SNR = 100;
/** What a kernel needs beside, see kernels/mean-picture.ts. */
const WORK_BYTES = 96;

/**
 * The average star of each cell of a cols x rows grid: pixels of up to 24 bright lone stars laid over each other by
 * their fitted centres on a grid three times finer, each divided by its star's flux, combined by a weighted mean that
 * leaves out pixels far from the first mean (neighbours, hot pixels). Each pixel is spread over a pixel's width by a
 * triangle, so coarse sampling leaves no holes; the price is a picture softer by that much.
 */
export function meanStars(
  stars: StarTable,
  plane: Plane,
  kernels: Kernels,
  cols: number,
  rows: number,
  radiusPx: number,
): MeanStar[] {
  const side = 2 * Math.ceil(radiusPx * SAMPLES_PER_PX) + 1;
  const members = Array.from({ length: cols * rows }, () => [] as number[]);
  const dropped = NOT_FOR_SHAPE & ~FLAG.undersampled;
  // The table is sorted by flux: the first of each cell are its best.
  for (let i = 0; i < stars.count; i++) {
    if (stars.flags[i] & dropped || stars.snr[i] < MIN_SNR) continue;
    const cell = members[cellOf(stars, i, plane.widthPx, plane.heightPx, cols, rows)];
    if (cell.length < STARS_PER_CELL) cell.push(i);
  }
  return members.map((indices, cell) => ({
    col: cell % cols,
    row: Math.floor(cell / cols),
    cols,
    rows,
    stars: indices.length,
    side,
    samplesPerPx: SAMPLES_PER_PX,
    values: average(stars, indices, plane, kernels, side, radiusPx),
    placesPx: Float32Array.from(indices.flatMap((i) => [stars.xPx[i], stars.yPx[i]])),
  }));
}

function average(
  stars: StarTable,
  indices: number[],
  { address, kind, widthPx, heightPx, sites }: Plane,
  { run, arena }: Kernels,
  side: number,
  radiusPx: number,
): Float32Array {
  const nodes = side * side;
  const picture = new Float32Array(nodes);
  let peak = 0;
  const mark = arena.mark();
  const [sums, mean, work] = [arena.alloc(16 * nodes), arena.alloc(4 * nodes), arena.alloc(WORK_BYTES)];
  const layStar = kind === 'u16' ? run.layStarU16 : run.layStarF32;
  for (let round = 0; round < 2 && indices.length > 0; round++) {
    const pairs = arena.f64(sums, 2 * nodes).fill(0);
    for (const i of indices)
      layStar(
        address,
        widthPx,
        heightPx,
        sites,
        stars.xPx[i],
        stars.yPx[i],
        radiusPx,
        stars.backgroundAdu[i],
        stars.fluxAdu[i],
        Math.min(stars.snr[i], MOST_SNR) ** 2,
        round === 0 ? 0 : mean,
        peak,
        side,
        sums,
        work,
      );
    for (let node = 0; node < nodes; node++)
      picture[node] = pairs[2 * node + 1] > 0 ? pairs[2 * node] / pairs[2 * node + 1] : 0;
    arena.f32(mean, nodes).set(picture);
    peak = picture.reduce((most, value) => Math.max(most, value), 0);
  }
  arena.reset(mark);
  return peak > 0 ? picture.map((value) => value / peak) : picture;
}
