/** A symmetric 2 x 2 matrix of second moments, px². */
export interface Moments {
  xx: number;
  yy: number;
  xy: number;
}

export const determinant = ({ xx, yy, xy }: Moments): number => xx * yy - xy * xy;

/** Per-axis rms width of the circle with the same area: det^(1/4). */
export const width = (moments: Moments): number => Math.sqrt(Math.sqrt(Math.max(determinant(moments), 0)));

/** Rms along the major and minor axis (handbook of shape definitions: Bertin & Arnouts 1996, A&AS 117, 393). */
export function axes({ xx, yy, xy }: Moments): { major: number; minor: number } {
  const mean = (xx + yy) / 2;
  const difference = Math.hypot((xx - yy) / 2, xy);
  return { major: Math.sqrt(mean + difference), minor: Math.sqrt(Math.max(mean - difference, 0)) };
}

/** Squared distance in units of the shape's own rms. */
export const mahalanobis2 = (m: Moments, dx: number, dy: number): number =>
  (m.yy * dx * dx - 2 * m.xy * dx * dy + m.xx * dy * dy) / determinant(m);

/** Elongation A/B from the distortion |e| = (A² - B²) / (A² + B²). */
export const elongationOf = (e: number): number => Math.sqrt((1 + e) / (1 - e));

/** Axis of a distortion (e1, e2) in degrees, [-90, 90), from +x towards +y. */
export function axisAngleDeg(e1: number, e2: number): number {
  const degrees = (Math.atan2(e2, e1) * 90) / Math.PI;
  return degrees >= 90 ? degrees - 180 : degrees;
}
