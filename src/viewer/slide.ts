import type { Camera, Size } from './camera.ts';

/** CSS pixels that are drawn beyond each side of the window, so that a pan need not draw at once: a fifth of it at most. */
export const marginOf = ({ width, height }: Size): number =>
  Math.round(Math.min(160, 0.2 * Math.min(width, height)));

/**
 * How far (CSS pixels) the picture that was drawn for `drawn` is to be moved so that it shows `wanted`, in whole device
 * pixels; null where it must be drawn anew: another zoom, or farther than the margin.
 */
export function slideTo(
  drawn: Camera,
  wanted: Camera,
  margin: number,
  deviceScale: number,
): { x: number; y: number } | null {
  if (drawn.zoom !== wanted.zoom) return null;
  const along = (from: number, to: number) =>
    Math.round((from - to) * wanted.zoom * deviceScale) / deviceScale;
  const [x, y] = [along(drawn.xPx, wanted.xPx), along(drawn.yPx, wanted.yPx)];
  return Math.max(Math.abs(x), Math.abs(y)) <= margin ? { x, y } : null;
}
