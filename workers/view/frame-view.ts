import type { Sky } from '../background/sky.ts';
import { median } from '../math/robust.ts';
import type { FrameView } from '../protocol/api.ts';
import type { Frame } from '../protocol/frame.ts';
import type { StarTable } from '../protocol/stars.ts';
import { pyramidLevels, TILE_PX } from './pyramid.ts';

/** Stored values that a tile's 0 and 65535 stand for: all of a 16-bit frame, else a range about the sky. */
export function storedRange(frame: Frame, sky: Sky): { low: number; high: number } {
  if (frame.pixels.kind === 'u16') return { low: 0, high: 65535 };
  const level = median(sky.levels);
  const noise = median(sky.sigmas);
  return { low: level - 20 * noise, high: Math.min(level + 4000 * noise, frame.saturationStored) };
}

/** How a frame may be shown: its pyramid and a stretch that suits its sky and its stars. */
export function frameView(frame: Frame, sky: Sky, stars: StarTable): FrameView {
  const skyAdu = frame.zero + frame.scale * median(sky.levels);
  const noiseAdu = frame.scale * median(sky.sigmas);
  // White at the peak of a fairly bright star: faint ones stay visible, bright ones keep their shape.
  const peaks = Float32Array.from(stars.peakAdu).sort();
  const bright = peaks.length > 0 ? peaks[Math.floor(0.85 * (peaks.length - 1))] : 50 * noiseAdu;
  return {
    tilePx: TILE_PX,
    levels: pyramidLevels(frame.widthPx, frame.heightPx),
    channels: frame.planes === 3 || frame.mosaic ? 3 : 1,
    blackAdu: skyAdu - 2 * noiseAdu,
    skyAdu,
    noiseAdu,
    whiteAdu: skyAdu + Math.max(30 * noiseAdu, bright),
  };
}
