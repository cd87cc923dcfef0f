import type { FrameView, Tile } from '../../workers/protocol/api.ts';

/**
 * How ADU become light: black and white are the two handles, `softAdu` is where the inverse hyperbolic sine turns from
 * a straight line to a logarithm (Lupton et al. 2004, PASP 116, 133), so that the sky's grain and the cores of stars
 * are both seen.
 */
export interface Stretch {
  blackAdu: number;
  whiteAdu: number;
  softAdu: number;
}

/** Light in 0..1 of a value in ADU. */
export function lightOf(valueAdu: number, { blackAdu, whiteAdu, softAdu }: Stretch): number {
  const top = Math.asinh((whiteAdu - blackAdu) / softAdu);
  return Math.min(1, Math.max(0, Math.asinh((valueAdu - blackAdu) / softAdu) / top));
}

/** What the frame opens with: black a little under the sky, knee at a few sigmas of its noise. */
export function openingStretch(view: FrameView): Stretch {
  const softAdu = Math.max(view.noiseAdu * 4, (view.whiteAdu - view.blackAdu) * 1e-4, 1e-12);
  return { blackAdu: view.blackAdu, whiteAdu: view.whiteAdu, softAdu };
}

/**
 * The handles move on a road of 0..1 that is even in asinh about the sky: single sigmas near the sky, decades far from it.
 */
export interface Road {
  lowAdu: number;
  highAdu: number;
  skyAdu: number;
  softAdu: number;
}

export const roadOf = (view: FrameView): Road => {
  const softAdu = openingStretch(view).softAdu;
  return {
    lowAdu: view.skyAdu - Math.max(12 * view.noiseAdu, 2 * (view.skyAdu - view.blackAdu)),
    highAdu: Math.max(view.whiteAdu * 1.5, view.skyAdu + 100 * view.noiseAdu),
    skyAdu: view.skyAdu,
    softAdu,
  };
};

export function positionOnRoad(valueAdu: number, road: Road): number {
  const along = (adu: number) => Math.asinh((adu - road.skyAdu) / road.softAdu);
  return (along(valueAdu) - along(road.lowAdu)) / (along(road.highAdu) - along(road.lowAdu));
}

export function aduOnRoad(position: number, road: Road): number {
  const along = (adu: number) => Math.asinh((adu - road.skyAdu) / road.softAdu);
  const low = along(road.lowAdu);
  return road.skyAdu + road.softAdu * Math.sinh(low + position * (along(road.highAdu) - low));
}

/** How many samples of a tile lie at each step of the road, as parts of the fullest step. */
export function histogramOn(road: Road, tile: Tile, steps: number): Float64Array {
  const bins = new Float64Array(steps);
  const perStep = (tile.highAdu - tile.lowAdu) / 65535;
  for (let i = 0; i < tile.values.length; i++) {
    const at = positionOnRoad(tile.lowAdu + tile.values[i] * perStep, road);
    const bin = Math.floor(at * steps);
    if (bin >= 0 && bin < steps) bins[bin]++;
  }
  const fullest = Math.max(1, ...bins);
  return bins.map((n) => n / fullest);
}
