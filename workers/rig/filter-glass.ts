/**
 * A plane plate in the converging cone moves the focus away from the optics by t (1 - 1/n), millimetres (textbook,
 * paraxial). Behind a corrector the same amount must be added to its design distance.
 */
export const glassShiftMm = (thicknessMm: number, index: number): number => thicknessMm * (1 - 1 / index);

/** The same for the rays of the cone's edge: t [1 - cos U / sqrt(n² - sin² U)], tan U = 1/(2F). */
export function marginalShiftMm(thicknessMm: number, index: number, focalRatio: number): number {
  const u = Math.atan(1 / (2 * focalRatio));
  return thicknessMm * (1 - Math.cos(u) / Math.sqrt(index ** 2 - Math.sin(u) ** 2));
}

/** Spherical aberration that the plate adds, wavefront at the edge in micrometres: (n²-1) t / (128 n³ F⁴). */
export const glassSphericalUm = (thicknessMm: number, index: number, focalRatio: number): number =>
  (1000 * thicknessMm * (index ** 2 - 1)) / (128 * index ** 3 * focalRatio ** 4);

/** Thickness of plate that moves the focus by `shiftMm`. */
export const glassForShiftMm = (shiftMm: number, index: number): number => shiftMm / (1 - 1 / index);
