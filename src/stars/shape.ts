/**
 * Elongation A/B and axis of a star from its distortion (e1, e2) = ((A^2 - B^2) / (A^2 + B^2)) (cos 2t, sin 2t).
 * The angle is in radians from +x towards +y.
 */
export function axisOf(e1: number, e2: number): { elongation: number; angleRad: number } {
  const e = Math.min(0.999, Math.hypot(e1, e2));
  return { elongation: Math.sqrt((1 + e) / (1 - e)), angleRad: Math.atan2(e2, e1) / 2 };
}
