/**
 * Floats that were packed as whole numbers (FITS Standard 4.0, 10.2): value = zero + scale * number, where the packing
 * may have added a known random number to each before rounding, which is taken off again.
 */
export interface Quantisation {
  /** 0: no dither, 1: SUBTRACTIVE_DITHER_1, 2: SUBTRACTIVE_DITHER_2, which keeps exact zeros. */
  dither: 0 | 1 | 2;
  /** ZDITHER0, 1 to 10000. */
  firstSeed: number;
  /** See `ditherSequence`; empty without dither. */
  random: Float32Array;
}

/** What ZBLANK is where the header does not say: the reserved number that packers write for NaN. */
export const USUAL_BLANK = -2147483647;
/** The number that stands for an exact zero in SUBTRACTIVE_DITHER_2. */
const EXACT_ZERO = -2147483646;

/** Turns `count` whole numbers of tile `tile` (0 is the first) into floats; those equal to `blank` into NaN. */
export function dequantise(
  numbers: Int32Array,
  count: number,
  tile: number,
  scale: number,
  zero: number,
  blank: number,
  { dither, firstSeed, random }: Quantisation,
): Float64Array {
  const values = new Float64Array(count);
  const length = random.length;
  // Tile n starts at the seed n - 1 + ZDITHER0 - 1; each seed starts a walk through the sequence in its first twentieth.
  const start = (seed: number) => Math.floor(Math.fround(random[seed] * 500));
  let seed = dither ? (tile + firstSeed - 1) % length : 0;
  let next = dither ? start(seed) : 0;
  for (let i = 0; i < count; i++) {
    const number = numbers[i];
    const shift = dither ? 0.5 - random[next] : 0;
    if (number === blank) values[i] = NaN;
    else if (dither === 2 && number === EXACT_ZERO) values[i] = 0;
    else values[i] = (number + shift) * scale + zero;
    if (dither && ++next === length) {
      seed = (seed + 1) % length;
      next = start(seed);
    }
  }
  return values;
}
