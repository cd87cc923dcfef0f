import { measureSky } from '../workers/background/sky.ts';
import { detectStars } from '../workers/detect/detect.ts';
import { measureStars, type Measurement } from '../workers/measure/measure.ts';
import type { Kernels } from '../workers/wasm/kernels.ts';
import { ALL_SITES, type Plane } from '../workers/wasm/plane.ts';

/** Puts 16-bit pixels into the kernels' memory, where a decoded frame would lie. */
export function loadPlane(
  { arena }: Kernels,
  { pixels, widthPx, heightPx }: { pixels: Uint16Array; widthPx: number; heightPx: number },
  sites = ALL_SITES,
): Plane {
  const address = arena.alloc(pixels.byteLength);
  arena.u16(address, pixels.length).set(pixels);
  return { kind: 'u16', address, widthPx, heightPx, sites, saturationStored: 65535 };
}

export interface StageTimes {
  background: number;
  detect: number;
  measure: number;
}

/** From a loaded frame to measured stars, with the time of each stage in milliseconds. */
export function measurePlane(
  plane: Plane,
  unitsPerElectron: number | null,
  kernels: Kernels,
): { measurement: Measurement; timeMs: StageTimes } {
  const started = performance.now();
  const sky = measureSky(plane, kernels);
  const haveSky = performance.now();
  const found = detectStars(plane, sky, kernels);
  if (!found) throw new Error('the frame is covered with structure');
  const haveFound = performance.now();
  const measurement = measureStars(plane, sky, found, { unitsPerElectron, zeroStored: 0 }, kernels);
  const done = performance.now();
  return {
    measurement,
    timeMs: { background: haveSky - started, detect: haveFound - haveSky, measure: done - haveFound },
  };
}
