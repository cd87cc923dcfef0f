/**
 * The one door to the fitsjs library. Checked against files written by astropy and against the FITS standard, most of it
 * is not fit for raw frames (it wraps unsigned 16 bit, reads 64-bit floats as pairs of 32 bit, ignores BLANK, loses
 * header cards, needs `window` for pixels, and unpacks raw-coded Rice blocks wrongly). What it does exactly right, and
 * all that it is used for, is the sequence of random numbers of subtractive dithering. It is loaded with the first
 * frame that needs it.
 */

/**
 * The 10 000 numbers in (0, 1), in single precision, of FITS Standard 4.0, appendix I: the generator of Park and Miller
 * (seed' = 16807 seed mod 2^31 - 1). The standard's own check, that the last seed is 1043618065, is among the tests.
 */
export async function ditherSequence(): Promise<Float32Array> {
  const { default: astro } = await import('virtual:fitsjs');
  return astro.FITS.CompressedImage.randomSequence;
}
