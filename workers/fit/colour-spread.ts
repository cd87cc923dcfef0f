import type { Estimate } from '../protocol/report.ts';
import type { StampMoments } from './stamp-moments.ts';

/**
 * Where air parts the colours, each filter's own light is drawn out too. Variance of the green light along the shift from
 * red to blue over the square of that shift: dyed green filters about 90 nm wide between a red and a blue one some 140 nm
 * apart, with the refraction of air over visible light (Filippenko 1982 PASP 94, 715, eq. 1), give 0.06 to 0.11. Sensors
 * differ, so the stars have their say.
 */
export const COLOUR_SPREAD = { centre: 0.085, sigma: 0.04 };

/**
 * Skewness of the green light along the shift, with a tail towards blue: the refraction of air goes nearly as the inverse
 * square of the wavelength, so a symmetric band of rms width s about the wavelength w has about -9 s / w.
 */
export const COLOUR_SKEW = -0.6;

/** Standard errors from which a shift is believed. */
const SURE = 5;
/** Share of a star's variance per axis from which the green's spread is worth a parameter. */
const NOTICEABLE = 0.005;

/** A variance tensor, px^2. */
export interface Smear {
  xx: number;
  xy: number;
  yy: number;
}
export const NO_SMEAR: Smear = { xx: 0, xy: 0, yy: 0 };

/** The shift from blue to red where it is sure and draws out the green light noticeably, else null. */
export function noticeableShift(
  shift: { x: Estimate; y: Estimate } | null,
  { moments }: Pick<StampMoments, 'moments'>,
  stars: readonly number[],
): { x: number; y: number } | null {
  if (!shift) return null;
  const { x, y } = shift;
  const pull = Math.hypot(x.value / Math.max(x.sigma, 1e-6), y.value / Math.max(y.sigma, 1e-6));
  const traces = stars.map((star) => moments[7 * star]).sort((a, b) => a - b);
  const perAxis = traces[traces.length >> 1] / 2;
  const spread = COLOUR_SPREAD.centre * (x.value ** 2 + y.value ** 2);
  return pull > SURE && spread > NOTICEABLE * perAxis ? { x: x.value, y: y.value } : null;
}

/** How far the green light is spread by the usual filter. */
export function smearOf(shift: { x: number; y: number } | null): Smear {
  if (!shift) return NO_SMEAR;
  const { x, y } = shift;
  return {
    xx: COLOUR_SPREAD.centre * x * x,
    xy: COLOUR_SPREAD.centre * x * y,
    yy: COLOUR_SPREAD.centre * y * y,
  };
}

/** Moments of some stars, [star][7], without a known smear. */
export function withoutSmear(
  { moments }: Pick<StampMoments, 'moments'>,
  stars: readonly number[],
  { xx, xy, yy }: Smear,
): Float64Array {
  return Float64Array.from(
    stars.flatMap((star) => {
      const own = [...moments.subarray(7 * star, 7 * star + 7)];
      // A star is never narrower than half of what it measures.
      own[0] = Math.max(own[0] - xx - yy, own[0] / 2);
      own[1] -= xx - yy;
      own[2] -= 2 * xy;
      return own;
    }),
  );
}
