/**
 * Coma of a single mirror with the stop at the mirror, third order. It does not depend on whether the mirror is a
 * paraboloid or a sphere. Source: Schroeder, Astronomical Optics, ch. 5-6 (tangential coma 3θ/16F² on the sky). Exact
 * rays through an f/4 paraboloid spread 1 % more in rms; the difference falls as 1/F².
 */

/** Sagittal coma Cs in micrometres, `heightMm` from the axis: h / 16F². The spot is 2 Cs wide. */
export const sagittalComaUm = (heightMm: number, focalRatio: number): number =>
  (1000 * heightMm) / (16 * focalRatio ** 2);

/** Length of the comet's tail (tangential coma) in micrometres: 3 Cs. */
export const tangentialComaUm = (heightMm: number, focalRatio: number): number =>
  3 * sagittalComaUm(heightMm, focalRatio);

/** Distance from the axis at which the tail reaches `limitUm`, millimetres. */
export const heightOfComaMm = (limitUm: number, focalRatio: number): number =>
  (16 * focalRatio ** 2 * limitUm) / 3000;

/**
 * Elongation (ratio of rms axes) of a star blurred round by `roundSigmaUm` per axis and by coma.
 * Variances of the pure coma spot over an annular pupil with diameter ratio ε (second moments of the third-order
 * spot, X away from the axis): (m² + 9V)/2 Cs² along, (m² + V)/2 Cs² across, m = (1+ε²)/2, V = (1-ε²)²/12.
 */
export function comaElongation(sagittalUm: number, roundSigmaUm: number, obstruction: number): number {
  const { along, across } = comaVariances(obstruction);
  const round = roundSigmaUm ** 2;
  return Math.sqrt((round + along * sagittalUm ** 2) / (round + across * sagittalUm ** 2));
}

/** Variances of the coma spot per Cs², radially and across. */
export function comaVariances(obstruction: number): { along: number; across: number } {
  const m = (1 + obstruction ** 2) / 2;
  const v = (1 - obstruction ** 2) ** 2 / 12;
  return { along: (m ** 2 + 9 * v) / 2, across: (m ** 2 + v) / 2 };
}

/** Half of the diagonal: the distance of a corner from the middle of the sensor. */
export const halfDiagonalMm = (widthMm: number, heightMm: number): number =>
  Math.hypot(widthMm, heightMm) / 2;

/** The largest sensor of this shape (height / width) whose corners stay within `radiusMm` of the axis. */
export function largestSensorMm(radiusMm: number, shape: number): { widthMm: number; heightMm: number } {
  const widthMm = (2 * radiusMm) / Math.hypot(1, shape);
  return { widthMm, heightMm: widthMm * shape };
}
