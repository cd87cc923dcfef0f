/** Arc seconds in a radian. */
export const ARCSEC_PER_RADIAN = 206264.806;
/** Green, in the middle of what eyes and sensors see: the wavelength of every "λ = 0.55 µm" below. */
export const GREEN_UM = 0.55;
/** Full width at half maximum of a Gaussian over its rms width: 2 sqrt(2 ln 2). */
export const FWHM_PER_SIGMA = 2 * Math.sqrt(2 * Math.log(2));

/** Arc seconds per pixel: the angle p / f. Elementary; good while the field is a few degrees. */
export const scaleArcsecPerPx = (pixelUm: number, focalMm: number): number =>
  (ARCSEC_PER_RADIAN * pixelUm) / (1000 * focalMm);

/** Length on the sensor of an angle on the sky, micrometres. */
export const arcsecToUm = (arcsec: number, focalMm: number): number =>
  (arcsec * 1000 * focalMm) / ARCSEC_PER_RADIAN;

/** Field of view along a side, degrees: 2 atan(w / 2f), for optics without distortion. */
export const fieldDeg = (sideMm: number, focalMm: number): number =>
  (360 / Math.PI) * Math.atan(sideMm / (2 * focalMm));

/**
 * Pixel that just samples all that the aperture can pass: λF/2, half of the cut-off frequency's period
 * (Nyquist; the cut-off 1/(λF) is textbook Fourier optics). Air blurs far more than that, so larger pixels lose little.
 */
export const nyquistPixelUm = (wavelengthUm: number, focalRatio: number): number =>
  (wavelengthUm * focalRatio) / 2;

/**
 * Width that a perfect, centred star should have, FWHM in pixels: air, diffraction and the pixel itself (1/12 px² per
 * axis) added as variances, each taken as a Gaussian of its full width. Where air and diffraction are alike this is some
 * 7 % short of the exact convolution (Kolmogorov's transfer function times that of an annulus).
 */
export function expectedFwhmPx(seeingUm: number, diffractionUm: number, pixelUm: number): number {
  const pixelFwhm = FWHM_PER_SIGMA * Math.sqrt(1 / 12);
  return Math.hypot(seeingUm / pixelUm, diffractionUm / pixelUm, pixelFwhm);
}

/**
 * Seeing at another place in the sky and another colour: FWHM grows as airmass^0.6 and wavelength^-0.2
 * (Kolmogorov turbulence; Fried 1966, Roddier 1981).
 */
export const seeingAt = (zenithArcsec: number, airmass: number, wavelengthUm = GREEN_UM): number =>
  zenithArcsec * airmass ** 0.6 * (wavelengthUm / GREEN_UM) ** -0.2;
