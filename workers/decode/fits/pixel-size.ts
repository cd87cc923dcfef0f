import type { Pointing } from '../../protocol/frame.ts';
import { numberIn, type Header } from './header.ts';
import type { Ask, Notes } from './meta.ts';

/**
 * XPIXSZ is the size after binning by the keyword dictionaries, yet some programs write the bare pixel's. An image
 * scale in the header together with the focal length decides; without one the dictionary is believed, and told of.
 */
export function pixelSizeUm(
  headers: Header[],
  ask: Ask,
  pointing: Pointing | null,
  { warnings, doubts }: Notes,
): number | null {
  const written = ask(['XPIXSZ'], 0.3, 200, 'um');
  if (written === null) return null;
  const tall = numberIn(headers, 'YPIXSZ');
  if (tall !== null && tall > 0 && Math.abs(tall - written) > 0.01 * written)
    warnings.push(
      `The pixels are not square: XPIXSZ ${written} um, YPIXSZ ${tall} um. ${written} um is used.`,
    );
  const binning = numberIn(headers, 'XBINNING');
  if (binning === null || !(binning > 1 && binning <= 16)) return written;
  const bare = isBarePixel(headers, written, binning, pointing);
  if (bare) return written * binning;
  if (bare === null) {
    const says = `The frame is binned ${binning} x ${binning}; its pixel size of ${written} um is taken as that of the binned pixel. If it is the bare pixel's, give ${written * binning} um.`;
    warnings.push(says);
    doubts.push({ about: 'pixelSizeUm', says, used: written, instead: written * binning });
  }
  return written;
}

const IMAGE_SCALE_KEYWORDS = ['PIXSCALE', 'SECPIX', 'SECPIX1', 'SCALE'];
const ARCSEC_PER_MILLIRADIAN = 206.264806;

/** Whether the header's own image scale says that the pixel size is meant before binning; null when it tells nothing. */
function isBarePixel(
  headers: Header[],
  writtenUm: number,
  binning: number,
  pointing: Pointing | null,
): boolean | null {
  const focalLengthMm = numberIn(headers, 'FOCALLEN') ?? 0;
  const scales = IMAGE_SCALE_KEYWORDS.map((keyword) => numberIn(headers, keyword));
  const arcsecPerPx =
    [pointing?.arcsecPerPx ?? null, ...scales].find((scale) => scale !== null && scale > 0) ?? 0;
  if (!(focalLengthMm > 0 && arcsecPerPx > 0)) return null;
  const meantUm = (arcsecPerPx * focalLengthMm) / ARCSEC_PER_MILLIRADIAN;
  const near = (um: number) => Math.abs(meantUm - um) < 0.15 * um;
  if (near(writtenUm)) return false;
  return near(writtenUm * binning) ? true : null;
}

/** World coordinates were measured on the stars; where pixel size and focal length say otherwise, one of these is wrong. */
export function checkScale(
  pixelUm: number | null,
  focalLengthMm: number | null,
  pointing: Pointing | null,
  { warnings, doubts }: Notes,
): void {
  const measured = pointing?.arcsecPerPx;
  if (!measured || pixelUm === null || focalLengthMm === null) return;
  const written = (ARCSEC_PER_MILLIRADIAN * pixelUm) / focalLengthMm;
  if (Math.abs(written / measured - 1) < 0.05) return;
  const instead = Math.round((ARCSEC_PER_MILLIRADIAN * pixelUm) / measured);
  const says = `By the star positions in the header a pixel is ${measured.toPrecision(3)} arcsec wide, by its pixel size and focal length ${written.toPrecision(3)} arcsec. If the pixel size is right, the focal length is ${instead} mm, not ${focalLengthMm} mm.`;
  warnings.push(says);
  doubts.push({ about: 'focalLengthMm', says, used: focalLengthMm, instead });
}
