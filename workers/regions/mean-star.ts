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
  plane: Plane,
  kernels: Kernels,
  side: number,
  radiusPx: number,
): Float32Array {
  let mean: Float32Array | null = null;
  for (let round = 0; round < 2 && indices.length > 0; round++) {
    const sum = new Float64Array(side * side);
    const weight = new Float64Array(side * side);
    for (const i of indices) addStar(stars, i, plane, kernels, side, radiusPx, sum, weight, mean);
    mean = Float32Array.from(sum, (value, sample) => (weight[sample] > 0 ? value / weight[sample] : 0));
  }
  if (!mean) return new Float32Array(side * side);
  const peak = mean.reduce((most, value) => Math.max(most, value), 0);
  return peak > 0 ? mean.map((value) => value / peak) : mean;
}

/** Adds one star's pixels; those that differ from `mean` by more than a tenth of its peak and half of itself stay out. */
function addStar(
  stars: StarTable,
  index: number,
  plane: Plane,
  { arena }: Kernels,
  side: number,
  radiusPx: number,
  sum: Float64Array,
  weight: Float64Array,
  mean: Float32Array | null,
): void {
  const { widthPx, heightPx, address, kind, sites } = plane;
  const pixels =
    kind === 'u16' ? arena.u16(address, widthPx * heightPx) : arena.f32(address, widthPx * heightPx);
  const x0 = stars.xPx[index];
  const y0 = stars.yPx[index];
  const flux = stars.fluxAdu[index];
  const sky = stars.backgroundAdu[index];
  const middle = (side - 1) / 2;
  const starWeight = Math.min(stars.snr[index], 100) ** 2;
  const peak = mean?.reduce((most, value) => Math.max(most, value), 0) ?? 0;
  for (let y = Math.ceil(y0 - radiusPx); y <= y0 + radiusPx; y++) {
    for (let x = Math.ceil(x0 - radiusPx); x <= x0 + radiusPx; x++) {
      if (x < 0 || y < 0 || x >= widthPx || y >= heightPx) continue;
      if (!((sites >> ((x & 1) | ((y & 1) << 1))) & 1)) continue;
      const value = (pixels[y * widthPx + x] - sky) / flux;
      if (Number.isNaN(value)) continue;
      const sx = (x - x0) * SAMPLES_PER_PX + middle;
      const sy = (y - y0) * SAMPLES_PER_PX + middle;
      if (mean) {
        const expected = mean[Math.round(sy) * side + Math.round(sx)];
        if (Math.abs(value - expected) > 0.1 * peak + 0.5 * Math.abs(expected)) continue;
      }
      spread(sum, weight, side, sx, sy, value, starWeight);
    }
  }
}

function spread(
  sum: Float64Array,
  weight: Float64Array,
  side: number,
  sx: number,
  sy: number,
  value: number,
  starWeight: number,
): void {
  const reach = SAMPLES_PER_PX;
  for (let j = Math.max(0, Math.ceil(sy - reach)); j <= Math.min(side - 1, sy + reach); j++)
    for (let i = Math.max(0, Math.ceil(sx - reach)); i <= Math.min(side - 1, sx + reach); i++) {
      const w = starWeight * (1 - Math.abs(i - sx) / reach) * (1 - Math.abs(j - sy) / reach);
      sum[j * side + i] += w * value;
      weight[j * side + i] += w;
    }
}
