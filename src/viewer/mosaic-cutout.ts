import type { StarCutout } from '../../workers/protocol/api.ts';

/**
 * The green pixels of a cut-out from a sensor with colour filters, the others NaN: stars are measured on green, and red
 * and blue pixels have a sky of their own. `mosaic` is the pattern at stored (0, 0), null for a plain sensor.
 */
export function measuredPixels(
  { originXPx, originYPx, sidePx, valuesAdu }: StarCutout,
  mosaic: string | null,
) {
  if (!mosaic) return valuesAdu;
  return valuesAdu.map((value, i) => {
    const x = originXPx + (i % sidePx);
    const y = originYPx + Math.floor(i / sidePx);
    return mosaic[(x & 1) + 2 * (y & 1)] === 'G' ? value : NaN;
  });
}

/**
 * Fills the gaps for the eye: a pixel without value takes the mean of its four neighbours where two or more have one
 * (a pixel beyond the border of the frame has one at most).
 */
export function filledPixels(values: Float32Array, side: number): Float32Array {
  return values.map((value, i) => {
    if (!Number.isNaN(value)) return value;
    const x = i % side;
    const near = [
      values[i - side],
      values[i + side],
      x > 0 ? values[i - 1] : NaN,
      x < side - 1 ? values[i + 1] : NaN,
    ].filter((v) => v !== undefined && !Number.isNaN(v));
    return near.length > 1 ? near.reduce((sum, v) => sum + v, 0) / near.length : NaN;
  });
}
