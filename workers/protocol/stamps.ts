import type { Estimate } from './report.ts';

/**
 * What the field fit sees of a frame, and all that it sees: native-resolution cut-outs of some stars, in electrons,
 * background still in. Flat arrays of `count` stamps of `sidePx` x `sidePx`, row by row.
 */
export interface StampSet {
  count: number;
  sidePx: number;
  widthPx: number;
  heightPx: number;
  electrons: Float32Array;
  /** 1 = use this pixel, 0 = masked (other colour, neighbour, hot, saturated). */
  mask: Uint8Array;
  /** 0 red, 1 green, 2 blue, 3 no colour filter. */
  channel: Uint8Array;
  /** Variance of the sky and the read noise in each pixel's place, electrons squared, one per stamp. */
  backgroundVariance: Float32Array;
  /** Full-frame position of each stamp's first pixel (integers) and of its star. */
  originXPx: Float64Array;
  originYPx: Float64Array;
  xPx: Float64Array;
  yPx: Float64Array;
  /** Of the whole frame; left out where nobody asked. */
  nature?: Nature;
}

/** What tells whether objects are stars as they fell on the sensor. */
export interface Nature {
  /** Null where too few objects tell. */
  sizes: SizeScatter | null;
  /** The format holds no raw light but a camera's developed picture. */
  developed: boolean;
}

/** How sizes of objects differ, all of the natural logarithm of the width at half height. */
export interface SizeScatter {
  objects: number;
  /** Standard deviation from neighbour to neighbour beyond noise, once field and brightness are taken off. */
  scatter: Estimate;
  /** Growth per unit of the natural logarithm of the light: 0 where bright and faint are alike. */
  perLight: Estimate;
}
