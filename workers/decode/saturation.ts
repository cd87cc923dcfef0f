import type { Kernels } from '../wasm/kernels.ts';
import type { Pixels } from './pixels.ts';

/**
 * Where the camera clips, guessed from the pixels. A clipped frame has many pixels at one value C and few just below it:
 * a star's clipped core covers more of it than the narrow ring around. A frame that is not clipped thins out towards
 * its brightest pixel. (For a Gaussian star the area between q C and C is 2 pi s^2 ln(1/q), the area above C is
 * 2 pi s^2 ln(peak/C): larger as soon as the peak is beyond C/q.)
 */
export interface Top {
  /** Largest value, and how many pixels have it. */
  maximum: number;
  atMaximum: number;
  /** Pixels in [belowFrom(kind, maximum), maximum). */
  justBelow: number;
  /** Pixels in all. */
  count: number;
  /** The largest value in ADU, to be held against what converters give. */
  maximumAdu: number;
  /** The largest value of the type of number; null when it says nothing. */
  ceiling: number | null;
}

/** Fewer pixels than this at one value prove nothing: two stars may have the same peak by chance. */
const LEAST_PILE = 5;
/** Of a real frame less than this is saturated; what says more is a constant picture, or wrong. */
const MOST_SATURATED = 0.05;
/**
 * Where "just below" begins. At least one step of the numbers must lie in between, or a faint picture of a few counts
 * would look clipped; the step of floats is not known, so they get a wider band.
 */
export const belowFrom = (kind: Pixels['kind'], maximum: number): number =>
  kind === 'u16' ? Math.min(maximum - 1, Math.floor(0.95 * maximum)) : maximum - 0.2 * Math.abs(maximum);

/** Full scale of converters with 10 to 16 bit, as they are and shifted up to 16 bit. */
const CONVERTER_LIMITS = [10, 12, 14, 16].flatMap((bits) => [
  2 ** bits - 1,
  (2 ** bits - 1) * 2 ** (16 - bits),
]);

/** Value at and above which a pixel is taken as saturated; Infinity when nothing tells. */
export function saturationLevel(top: Top): number {
  const few = top.atMaximum <= MOST_SATURATED * top.count;
  const piled = top.atMaximum >= LEAST_PILE && few && top.atMaximum > top.justBelow;
  if (piled || CONVERTER_LIMITS.includes(top.maximumAdu)) return top.maximum;
  return top.ceiling ?? Infinity;
}

/**
 * The level of a frame in stored numbers: the lower of what the pixels show and what the header says (`saysAdu`, from
 * SATURATE, in ADU), where that is sane. DATAMAX is not asked: by the standard it is the largest value in the data.
 */
export function saturationStored(
  kernels: Kernels,
  pixels: Pixels,
  saysAdu: number | null,
  warnings: string[],
): number {
  const { kind, peak, scale, zero, ceiling } = pixels;
  const below = belowFrom(kind, peak.maximum);
  const seen = saturationLevel({
    ...peak,
    justBelow: peak.atMaximum < LEAST_PILE ? 0 : countFrom(kernels, pixels, below) - peak.atMaximum,
    count: pixels.count,
    maximumAdu: zero + scale * peak.maximum,
    ceiling,
  });
  if (saysAdu === null) return seen;
  const says = (saysAdu - zero) / scale;
  if (saysAdu > 0 && countFrom(kernels, pixels, says) <= MOST_SATURATED * pixels.count)
    return Math.min(seen, says);
  warnings.push(
    `SATURATE is ${saysAdu} in the header, which would make most of the frame saturated: not used.`,
  );
  return seen;
}

/** How many pixels are at or above a stored value. */
function countFrom({ run }: Kernels, { kind, address, count }: Pixels, low: number): number {
  if (Number.isNaN(low)) return count;
  if (kind === 'f32') return run.countF32(address, count, low, Infinity);
  return low > 65535 ? 0 : run.countU16(address, count, Math.max(0, Math.ceil(low)), 65535);
}
