const DEG = Math.PI / 180;

/** Difference of height from one end of a length to the other, micrometres: w tan θ. */
export const tiltHeightUm = (lengthMm: number, tiltDeg: number): number =>
  1000 * lengthMm * Math.tan(tiltDeg * DEG);

/** Tilt at which the two ends of `lengthMm` just use up all of a depth of ±`halfUm`, degrees. */
export const tolerableTiltDeg = (lengthMm: number, halfUm: number): number =>
  Math.atan((2 * halfUm) / (1000 * lengthMm)) / DEG;

/**
 * What each of three push-pull screws, 120° apart on a circle, must give to undo a tilt without moving the focus:
 * r tan θ cos(ψk - ψ). The first screw stands at 0°; micrometres; their sum is zero.
 */
export const screwHeightsUm = (
  circleRadiusMm: number,
  tiltDeg: number,
  towardsDeg: number,
): [number, number, number] => {
  const height = (azimuth: number) =>
    1000 * circleRadiusMm * Math.tan(tiltDeg * DEG) * Math.cos((azimuth - towardsDeg) * DEG);
  return [height(0), height(120), height(240)];
};
