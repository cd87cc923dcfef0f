import type { FrameView, StarCutout, Tile } from '../protocol/api.ts';
import type { Frame } from '../protocol/frame.ts';
import type { Arena } from '../wasm/arena.ts';

export const TILE_PX = 256;
const FULL_SCALE = 65535;

/** Levels of halves down to one tile; level 0 is the frame itself. */
export function pyramidLevels(widthPx: number, heightPx: number): FrameView['levels'] {
  const levels = [{ widthPx, heightPx }];
  for (
    let last = levels[0];
    Math.max(last.widthPx, last.heightPx) > TILE_PX;
    last = levels[levels.length - 1]
  )
    levels.push({ widthPx: Math.ceil(last.widthPx / 2), heightPx: Math.ceil(last.heightPx / 2) });
  return levels;
}

/** Sky of each channel, stored units: differences are taken out, so that a colour frame has a grey sky. */
export interface ChannelSky {
  R: number;
  G: number;
  B: number;
}

/**
 * One tile of one level, block averages of the pixels as stored. A mosaic is shown in colour: each channel averages
 * its own pixels of the block, and at full size those around each pixel.
 * `high` is the stored value shown as 65535, `low` as 0.
 */
export function renderTile(
  frame: Frame,
  arena: Arena,
  sky: ChannelSky | null,
  low: number,
  high: number,
  place: { level: number; col: number; row: number },
): Tile {
  const { widthPx, heightPx } = frame;
  const block = 2 ** place.level;
  const levelWidth = Math.ceil(widthPx / block);
  const levelHeight = Math.ceil(heightPx / block);
  const x0 = place.col * TILE_PX;
  const y0 = place.row * TILE_PX;
  const tileWidth = Math.max(0, Math.min(TILE_PX, levelWidth - x0));
  const tileHeight = Math.max(0, Math.min(TILE_PX, levelHeight - y0));
  const channels = sky ? 3 : 1;
  const values = new Uint16Array(tileWidth * tileHeight * channels);
  const count = widthPx * heightPx * frame.planes;
  const pixels = arena[frame.pixels.kind](frame.pixels.address, count);
  const channelOf = channelLookup(frame);
  const gain = FULL_SCALE / (high - low || 1);
  const offsets = sky ? [sky.R, sky.G, sky.B].map((level) => sky.G - level) : [0];
  const sums = new Float64Array(3);
  const hits = new Float64Array(3);
  const planePixels = widthPx * heightPx;
  const blurred = frame.mosaic !== null && block === 1;

  for (let j = 0; j < tileHeight; j++)
    for (let i = 0; i < tileWidth; i++) {
      sums.fill(0);
      hits.fill(0);
      // At full size a mosaic's pixel takes each colour from the 3 x 3 around it, weights 4, 2, 1 (bilinear).
      const left = blurred ? x0 + i - 1 : (x0 + i) * block;
      const top = blurred ? y0 + j - 1 : (y0 + j) * block;
      const right = Math.min(left + (blurred ? 3 : block), widthPx);
      const bottom = Math.min(top + (blurred ? 3 : block), heightPx);
      for (let y = Math.max(0, top); y < bottom; y++)
        for (let x = Math.max(0, left); x < right; x++)
          for (let plane = 0; plane < frame.planes; plane++) {
            const value = pixels[plane * planePixels + y * widthPx + x];
            const channel = frame.planes === 3 ? plane : channelOf(x, y);
            if (value !== value) continue;
            const weight = blurred ? 4 >> (Math.abs(x - x0 - i) + Math.abs(y - y0 - j)) : 1;
            sums[channel] += weight * value;
            hits[channel] += weight;
          }
      for (let channel = 0; channel < channels; channel++) {
        const mean = hits[channel] ? sums[channel] / hits[channel] + offsets[channel] : low;
        values[(j * tileWidth + i) * channels + channel] = Math.max(
          0,
          Math.min(FULL_SCALE, (mean - low) * gain),
        );
      }
    }
  return {
    ...place,
    widthPx: tileWidth,
    heightPx: tileHeight,
    channels,
    values,
    lowAdu: frame.zero + frame.scale * low,
    highAdu: frame.zero + frame.scale * high,
  };
}

function channelLookup({ mosaic }: Frame): (x: number, y: number) => number {
  if (!mosaic) return () => 0;
  const index = mosaic.pattern.map((colour) => 'RGB'.indexOf(colour));
  return (x, y) => index[(x & 1) | ((y & 1) << 1)];
}

/** The pixels of a square about (xPx, yPx) in ADU, the middle plane of a colour picture; NaN outside the frame. */
export function cutoutOf(frame: Frame, arena: Arena, xPx: number, yPx: number, sidePx: number): StarCutout {
  const { widthPx, heightPx } = frame;
  const plane = frame.planes === 3 ? widthPx * heightPx : 0;
  const pixels = arena[frame.pixels.kind](frame.pixels.address, widthPx * heightPx * frame.planes);
  const originXPx = Math.round(xPx) - (sidePx >> 1);
  const originYPx = Math.round(yPx) - (sidePx >> 1);
  const valuesAdu = new Float32Array(sidePx * sidePx).fill(NaN);
  for (let j = 0; j < sidePx; j++)
    for (let i = 0; i < sidePx; i++) {
      const x = originXPx + i;
      const y = originYPx + j;
      if (x < 0 || y < 0 || x >= widthPx || y >= heightPx) continue;
      valuesAdu[j * sidePx + i] = frame.zero + frame.scale * pixels[plane + y * widthPx + x];
    }
  return { originXPx, originYPx, sidePx, valuesAdu };
}
