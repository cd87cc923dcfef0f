import { FWHM_PER_SIGMA } from './image-scale.ts';

/**
 * Half of the depth of focus, micrometres: how far the sensor may lie from focus, either way.
 * Quarter wave, peak to valley: 2λF² (Rayleigh's limit; Born & Wolf § 8.8, section number from memory). A central
 * obstruction takes the middle of the wavefront out and widens it by 1/(1-ε²).
 */
export const quarterWaveHalfUm = (wavelengthUm: number, focalRatio: number, obstruction = 0): number =>
  (2 * wavelengthUm * focalRatio ** 2) / (1 - obstruction ** 2);

/** As above, where the blur disc of geometry is as wide as the Airy disc: 2.44 λF². */
export const airyBlurHalfUm = (wavelengthUm: number, focalRatio: number): number =>
  2.44 * wavelengthUm * focalRatio ** 2;

/** Diameter of the blur disc of geometry: the cone's width dz / F. */
export const defocusBlurUm = (dzUm: number, focalRatio: number): number => Math.abs(dzUm) / focalRatio;

/** Per-axis variance of that disc (annulus with diameter ratio ε): d² (1+ε²) / 16. */
export const defocusVarianceUm2 = (dzUm: number, focalRatio: number, obstruction: number): number =>
  (defocusBlurUm(dzUm, focalRatio) ** 2 * (1 + obstruction ** 2)) / 16;

/**
 * As above, where a star blurred by air widens by the fraction `growth` (0.1 = a tenth): variances add, so
 * 4 F σ0 sqrt((1+growth)² - 1) / sqrt(1+ε²), σ0 the per-axis rms of the star in focus.
 */
export function seeingHalfUm(
  starFwhmUm: number,
  focalRatio: number,
  obstruction: number,
  growth: number,
): number {
  const sigma = starFwhmUm / FWHM_PER_SIGMA;
  return (4 * focalRatio * sigma * Math.sqrt((1 + growth) ** 2 - 1)) / Math.sqrt(1 + obstruction ** 2);
}

/**
 * Coefficients of thermal expansion near room temperature, per kelvin. From memory (tables of materials): aluminium
 * alloys 23e-6, carbon steel 12e-6; carbon-fibre laminates are near zero along the fibre, 1e-6 is taken.
 */
export const EXPANSION_PER_K = { aluminium: 23e-6, steel: 12e-6, carbon: 1e-6 } as const;
export type TubeMaterial = keyof typeof EXPANSION_PER_K;

/**
 * How far the focus wanders per kelvin, micrometres: α L, L the metal between mirror (or lens) and focuser. Glass
 * (3e-6 to 7e-6 per kelvin) follows a little and is left out, so this is the most that can happen.
 */
export const focusWanderUmPerK = (tube: TubeMaterial, lengthMm: number): number =>
  1000 * lengthMm * EXPANSION_PER_K[tube];
