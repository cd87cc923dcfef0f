import type { Frame, Mosaic } from '../protocol/frame.ts';

/** Which pixels of each 2 x 2 block count: bit (x & 1) + 2 (y & 1). */
export const ALL_SITES = 15;

/** The pixels that stars are measured on: a monochrome frame, the greens of a mosaic, the green plane of a picture. */
export interface Plane {
  kind: 'u16' | 'f32';
  address: number;
  widthPx: number;
  heightPx: number;
  sites: number;
  saturationStored: number;
}

export const sitesOf = (mosaic: Mosaic, colour: 'R' | 'G' | 'B'): number =>
  mosaic.pattern.reduce((bits, filter, index) => (filter === colour ? bits | (1 << index) : bits), 0);

/** Share of the pixels that count. */
export const siteShare = (sites: number): number =>
  [1, 2, 4, 8].filter((bit) => (sites & bit) !== 0).length / 4;

export function measuredPlane(frame: Frame): Plane {
  const bytesPerPixel = frame.pixels.kind === 'u16' ? 2 : 4;
  const planeBytes = frame.widthPx * frame.heightPx * bytesPerPixel;
  return {
    kind: frame.pixels.kind,
    address: frame.pixels.address + (frame.planes === 3 ? planeBytes : 0),
    widthPx: frame.widthPx,
    heightPx: frame.heightPx,
    sites: frame.mosaic ? sitesOf(frame.mosaic, 'G') : ALL_SITES,
    saturationStored: frame.saturationStored,
  };
}
