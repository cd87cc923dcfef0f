import { median } from '../math/robust.ts';
import type { Kernels } from '../wasm/kernels.ts';
import { ALL_SITES, type Plane } from '../wasm/plane.ts';

/** Sky level and noise over a frame: nodes at the centres of cols x rows cells, stored units. */
export interface Sky {
  cols: number;
  rows: number;
  levels: Float32Array;
  sigmas: Float32Array;
  /** Root mean square of what the cells about each had before smoothing less what they have after it. */
  roughness: Float32Array;
  /** The same two arrays in the kernels' memory. */
  levelsAddress: number;
  sigmasAddress: number;
  /** Step of the stored values: 16 for 12-bit values scaled to 16 bit. */
  quantum: number;
}

export const CELL_PX = 64;
const SCRATCH_BYTES = 4 * 1024;
const SMALL_PX = 1e6;

/**
 * Measures the sky in cells of about `cellPx`, then smooths the mesh by a 3 x 3 median, which also fills cells without
 * sky. Allocates the mesh in the arena and leaves it there.
 */
export function measureSky(plane: Plane, { run, arena }: Kernels, cellPx = CELL_PX): Sky {
  const { widthPx, heightPx } = plane;
  const cols = Math.max(1, Math.round(widthPx / cellPx));
  const rows = Math.max(1, Math.round(heightPx / cellPx));
  const levelsAddress = arena.alloc(cols * rows * 4);
  const sigmasAddress = arena.alloc(cols * rows * 4);
  const mark = arena.mark();
  const cellPixels = (Math.ceil(widthPx / cols) + 1) * (Math.ceil(heightPx / rows) + 1);
  const scratch = arena.alloc(SCRATCH_BYTES + (cellPixels + 4) * 4);
  const quantum = plane.kind === 'u16' ? quantumOf(plane, run) : 0;
  // A quarter of a cell's pixels fixes its level to a twenty-fifth of its noise, and the median of nine cells to half of
  // that. A mosaic has half to begin with; small frames have time for all.
  const rowStep = widthPx * heightPx < SMALL_PX ? 1 : plane.sites === ALL_SITES ? 4 : 2;
  const mesh = plane.kind === 'u16' ? run.meshU16 : run.meshF32;
  mesh(
    plane.address,
    widthPx,
    heightPx,
    cols,
    rows,
    plane.sites,
    rowStep,
    quantum,
    levelsAddress,
    sigmasAddress,
    scratch,
  );
  arena.reset(mark);
  const raw = arena.f32(levelsAddress, cols * rows);
  const levels = medianFilter(raw, cols, rows);
  const roughness = roughnessOf(raw, levels, cols, rows);
  const sigmas = medianFilter(arena.f32(sigmasAddress, cols * rows), cols, rows);
  arena.f32(levelsAddress, cols * rows).set(levels);
  arena.f32(sigmasAddress, cols * rows).set(sigmas);
  return { cols, rows, levels, sigmas, roughness, levelsAddress, sigmasAddress, quantum };
}

function quantumOf(plane: Plane, run: Kernels['run']): number {
  const count = plane.widthPx * plane.heightPx;
  return run.quantumU16(plane.address, count, Math.max(1, 2 * Math.floor(count / 40_000) + 1));
}

/** 3 x 3 median without the cells that are NaN; a cell with no neighbour at all takes the median of the mesh. */
export function medianFilter(mesh: Float32Array, cols: number, rows: number): Float32Array {
  const window = new Float64Array(9);
  return mesh.map((_, index) => {
    const col = index % cols;
    const row = (index - col) / cols;
    let count = 0;
    for (let j = Math.max(0, row - 1); j <= Math.min(rows - 1, row + 1); j++)
      for (let i = Math.max(0, col - 1); i <= Math.min(cols - 1, col + 1); i++) {
        const value = mesh[j * cols + i];
        if (Number.isNaN(value)) continue;
        let place = count++;
        for (; place > 0 && window[place - 1] > value; place--) window[place] = window[place - 1];
        window[place] = value;
      }
    if (count === 0) return median(mesh);
    return (window[count >> 1] + window[(count - 1) >> 1]) / 2;
  });
}

function roughnessOf(raw: Float32Array, smooth: Float32Array, cols: number, rows: number): Float32Array {
  return raw.map((_, index) => {
    const col = index % cols;
    const row = (index - col) / cols;
    let sum = 0;
    let count = 0;
    for (let j = Math.max(0, row - 1); j <= Math.min(rows - 1, row + 1); j++)
      for (let i = Math.max(0, col - 1); i <= Math.min(cols - 1, col + 1); i++) {
        const off = raw[j * cols + i] - smooth[j * cols + i];
        if (Number.isNaN(off)) continue;
        sum += off * off;
        count++;
      }
    return count > 0 ? Math.sqrt(sum / count) : 0;
  });
}

/** Value of a mesh at a full-frame position, linear between the nodes. */
export function meshAt(sky: Sky, mesh: Float32Array, plane: Plane, xPx: number, yPx: number): number {
  const fx = clamp(((xPx + 0.5) * sky.cols) / plane.widthPx - 0.5, sky.cols - 1);
  const fy = clamp(((yPx + 0.5) * sky.rows) / plane.heightPx - 0.5, sky.rows - 1);
  const i = Math.min(Math.floor(fx), Math.max(sky.cols - 2, 0));
  const j = Math.min(Math.floor(fy), Math.max(sky.rows - 2, 0));
  const right = Math.min(i + 1, sky.cols - 1);
  const below = Math.min(j + 1, sky.rows - 1);
  const u = fx - i;
  const v = fy - j;
  const { cols } = sky;
  return (
    (1 - v) * ((1 - u) * mesh[j * cols + i] + u * mesh[j * cols + right]) +
    v * ((1 - u) * mesh[below * cols + i] + u * mesh[below * cols + right])
  );
}

const clamp = (value: number, most: number) => Math.max(0, Math.min(value, most));
