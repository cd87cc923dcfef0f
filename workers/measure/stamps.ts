import { meshAt, type Sky } from '../background/sky.ts';
import { NOT_FOR_SHAPE } from '../protocol/flags.ts';
import type { Mosaic } from '../protocol/frame.ts';
import type { StampSet } from '../protocol/stamps.ts';
import type { StarTable } from '../protocol/stars.ts';
import type { Kernels } from '../wasm/kernels.ts';
import type { Plane } from '../wasm/plane.ts';
import { NeighbourIndex } from './neighbours.ts';

const CELLS_X = 6;
const CELLS_Y = 4;
const MIN_SNR = 15;
const CHANNELS = { R: 0, G: 1, B: 2 } as const;
const NO_FILTER = 3;
/** A pixel this many sigmas out whose neighbours hold less than this share of it is hot. */
const HOT_SIGMAS = 8;
const HOT_SHARE = 0.045;

export interface StampRequest {
  /** At most so many, spread over the field; or one star of the table. */
  which: { most: number } | { star: number };
  halfSidePx: number;
  electronsPerAdu: number;
  scale: number;
  mosaic: Mosaic | null;
}

/**
 * Cuts native stamps of up to `most` stars for the field fit. Stars are taken in turn from 6 x 4 cells of the field,
 * best first, so that any beginning of the list covers the field. Neighbours are masked, not vetoed; so are saturated
 * and hot pixels. On a mosaic the mask keeps the greens; `channel` tells the rest.
 */
export function makeStamps(
  stars: StarTable,
  plane: Plane,
  sky: Sky,
  kernels: Kernels,
  request: StampRequest,
): StampSet {
  const { which, halfSidePx, electronsPerAdu, scale, mosaic } = request;
  const chosen = 'star' in which ? [which.star] : chooseByQuota(stars, plane, which.most, halfSidePx);
  const side = 2 * halfSidePx + 1;
  const area = side * side;
  const perUnit = scale * electronsPerAdu;
  const set: StampSet = {
    count: chosen.length,
    sidePx: side,
    widthPx: plane.widthPx,
    heightPx: plane.heightPx,
    electrons: new Float32Array(chosen.length * area),
    mask: new Uint8Array(chosen.length * area),
    channel: new Uint8Array(chosen.length * area),
    backgroundVariance: new Float32Array(chosen.length),
    originXPx: new Float64Array(chosen.length),
    originYPx: new Float64Array(chosen.length),
    xPx: Float64Array.from(chosen, (i) => stars.xPx[i]),
    yPx: Float64Array.from(chosen, (i) => stars.yPx[i]),
  };
  const index = new NeighbourIndex(stars.xPx, stars.yPx, 3 * halfSidePx);
  const pixels = pixelsOf(plane, kernels);
  chosen.forEach((star, stamp) => {
    const x0 = Math.round(stars.xPx[star]) - halfSidePx;
    const y0 = Math.round(stars.yPx[star]) - halfSidePx;
    set.originXPx[stamp] = x0;
    set.originYPx[stamp] = y0;
    const level = meshAt(sky, sky.levels, plane, stars.xPx[star], stars.yPx[star]);
    const sigma = meshAt(sky, sky.sigmas, plane, stars.xPx[star], stars.yPx[star]);
    set.backgroundVariance[stamp] = (sigma * perUnit) ** 2;
    const near = index.around(star, 2.2 * halfSidePx);
    for (let j = 0; j < side; j++)
      for (let i = 0; i < side; i++) {
        const x = x0 + i;
        const y = y0 + j;
        const at = stamp * area + j * side + i;
        // A single star may stand at the border: what lies beyond stays masked.
        if (x < 0 || y < 0 || x >= plane.widthPx || y >= plane.heightPx) continue;
        const stored = pixels[y * plane.widthPx + x];
        set.electrons[at] = (stored - level) * perUnit;
        set.channel[at] = mosaic ? CHANNELS[mosaic.pattern[(x & 1) | ((y & 1) << 1)]] : NO_FILTER;
        const usable =
          stored < plane.saturationStored &&
          ((plane.sites >> ((x & 1) | ((y & 1) << 1))) & 1) === 1 &&
          !(stored - level > HOT_SIGMAS * sigma && isHot(pixels, plane, x, y, level)) &&
          !near.some((other) => belongsTo(stars, other, star, x, y));
        set.mask[at] = usable ? 1 : 0;
      }
  });
  return set;
}

/** Whether a pixel lies in a neighbour's light: within 2.6 of its rms widths and a pixel, but nearer to it. */
function belongsTo(stars: StarTable, other: number, own: number, x: number, y: number): boolean {
  const toOther = Math.hypot(x - stars.xPx[other], y - stars.yPx[other]);
  const size = (Number.isNaN(stars.fwhmPx[other]) ? stars.hfdPx[other] : stars.fwhmPx[other]) / 2.355;
  const brightness = Math.log(Math.max(stars.fluxAdu[other] / stars.fluxAdu[own], 1));
  const toOwn = Math.hypot(x - stars.xPx[own], y - stars.yPx[own]);
  return toOther < (2.6 + brightness) * size + 1 && toOther < toOwn;
}

/** Both rings of four neighbours of the pixel's own colour hold next to nothing. */
function isHot(pixels: ArrayLike<number>, plane: Plane, x: number, y: number, level: number): boolean {
  const green = plane.sites === 6 || plane.sites === 9;
  const value = pixels[y * plane.widthPx + x] - level;
  const ring = (dx: number, dy: number) => {
    const offsets = [dy * plane.widthPx + dx, dx * plane.widthPx - dy];
    return offsets.reduce(
      (sum, offset) => sum + pixels[y * plane.widthPx + x + offset] + pixels[y * plane.widthPx + x - offset],
      0,
    );
  };
  const straight = ring(green ? 2 : 1, 0) / 4 - level;
  const diagonal = ring(1, 1) / 4 - level;
  return straight < HOT_SHARE * value && diagonal < HOT_SHARE * value;
}

function chooseByQuota(stars: StarTable, plane: Plane, most: number, halfSidePx: number): number[] {
  const margin = halfSidePx + 3;
  const cells = Array.from({ length: CELLS_X * CELLS_Y }, () => [] as number[]);
  for (let i = 0; i < stars.count; i++) {
    const x = stars.xPx[i];
    const y = stars.yPx[i];
    if (stars.flags[i] & NOT_FOR_SHAPE || stars.snr[i] < MIN_SNR) continue;
    if (x < margin || y < margin || x > plane.widthPx - 1 - margin || y > plane.heightPx - 1 - margin)
      continue;
    const col = Math.floor((x * CELLS_X) / plane.widthPx);
    const row = Math.floor((y * CELLS_Y) / plane.heightPx);
    cells[row * CELLS_X + col].push(i);
  }
  for (const cell of cells) cell.sort((a, b) => stars.snr[b] - stars.snr[a]);
  const chosen: number[] = [];
  for (let turn = 0; chosen.length < most && cells.some((cell) => cell.length > turn); turn++)
    for (const cell of cells) if (turn < cell.length && chosen.length < most) chosen.push(cell[turn]);
  return chosen;
}

const pixelsOf = (plane: Plane, { arena }: Kernels): Uint16Array | Float32Array =>
  arena[plane.kind](plane.address, plane.widthPx * plane.heightPx);
