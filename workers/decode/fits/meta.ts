import type { FrameMeta } from '../../protocol/frame.ts';
import { cardIn, numberIn, stringIn, type Header } from './header.ts';
import { startTime } from './time.ts';

/**
 * What the camera program said about the exposure. No registry holds the keywords of amateur cameras; the meanings
 * are those of the public keyword dictionaries (HEASARC's common dictionary for EXPTIME, EXPOSURE and DATE-OBS).
 * A value that cannot be is told of and left out.
 */
export function frameMeta(headers: Header[], warnings: string[]): FrameMeta {
  const ask = (names: string[], least: number, most: number, unit: string) =>
    plausible(headers, names, least, most, unit, warnings);
  const apertureMm = ask(['APTDIA'], 5, 20_000, 'mm');
  const focalLengthMm = ask(['FOCALLEN'], 5, 200_000, 'mm');
  const imageType = stringIn(headers, 'IMAGETYP');
  if (imageType && /dark|bias|flat|zero|offset/i.test(imageType))
    warnings.push(`The header calls this frame "${imageType}": it should hold no stars.`);
  return {
    format: 'FITS',
    exposureS: ask(['EXPTIME', 'EXPOSURE'], 1e-6, 1e6, 's'),
    startTime: startTime(headers, warnings),
    pixelSizeUm: pixelSizeUm(headers, ask, warnings),
    focalLengthMm,
    apertureMm,
    obstruction: obstruction(apertureMm, numberIn(headers, 'APTAREA')),
    gainElectronsPerAdu: gain(headers, ask),
    focusPosition: ask(['FOCUSPOS', 'FOCPOS'], -1e7, 1e7, 'steps'),
    temperatureC: ask(['CCD-TEMP'], -250, 100, 'degrees'),
    imageType,
    pointing: null,
  };
}

type Ask = (names: string[], least: number, most: number, unit: string) => number | null;

/** The first of `names` that has a value within [least, most]. */
function plausible(
  headers: Header[],
  names: string[],
  least: number,
  most: number,
  unit: string,
  warnings: string[],
): number | null {
  let found: number | null = null;
  for (const name of names) {
    const value = numberIn(headers, name);
    if (value === null) continue;
    if (!(value >= least && value <= most)) {
      const written = cardIn(headers, name)!.text.slice(0, 40);
      warnings.push(`${name} is ${written} ${unit} in the header, which cannot be: not used.`);
    } else if (found === null) {
      found = value;
      if (headers.some((header) => header.contradicts(name)))
        warnings.push(
          `${name} stands in the header twice with different values: the first, ${value} ${unit}, is used.`,
        );
    } else if (Math.abs(value - found) > 0.01 * Math.abs(found))
      warnings.push(
        `${names[0]} and ${name} differ in the header: ${found} ${unit}, not ${value} ${unit}, is used.`,
      );
  }
  return found;
}

/**
 * XPIXSZ is the size after binning by the keyword dictionaries, yet some programs write the bare pixel's. An image
 * scale in the header together with the focal length decides; without one the dictionary is believed, and told of.
 */
function pixelSizeUm(headers: Header[], ask: Ask, warnings: string[]): number | null {
  const written = ask(['XPIXSZ'], 0.3, 200, 'um');
  if (written === null) return null;
  const tall = numberIn(headers, 'YPIXSZ');
  if (tall !== null && tall > 0 && Math.abs(tall - written) > 0.01 * written)
    warnings.push(
      `The pixels are not square: XPIXSZ ${written} um, YPIXSZ ${tall} um. ${written} um is used.`,
    );
  const binning = numberIn(headers, 'XBINNING');
  if (binning === null || !(binning > 1 && binning <= 16)) return written;
  const bare = isBarePixel(headers, written, binning);
  if (bare) return written * binning;
  if (bare === null)
    warnings.push(
      `The frame is binned ${binning} x ${binning}; its pixel size of ${written} um is taken as that of the binned pixel. If it is the bare pixel's, give ${written * binning} um.`,
    );
  return written;
}

const IMAGE_SCALE_KEYWORDS = ['PIXSCALE', 'SECPIX', 'SECPIX1', 'SCALE'];
const ARCSEC_PER_MILLIRADIAN = 206.264806;

/** Whether the header's own image scale says that the pixel size is meant before binning; null when it tells nothing. */
function isBarePixel(headers: Header[], writtenUm: number, binning: number): boolean | null {
  const focalLengthMm = numberIn(headers, 'FOCALLEN') ?? 0;
  const scales = IMAGE_SCALE_KEYWORDS.map((keyword) => numberIn(headers, keyword));
  const arcsecPerPx = scales.find((scale) => scale !== null && scale > 0) ?? 0;
  if (!(focalLengthMm > 0 && arcsecPerPx > 0)) return null;
  const meantUm = (arcsecPerPx * focalLengthMm) / ARCSEC_PER_MILLIRADIAN;
  const near = (um: number) => Math.abs(meantUm - um) < 0.15 * um;
  if (near(writtenUm)) return false;
  return near(writtenUm * binning) ? true : null;
}

/**
 * APTAREA is the clear area in mm^2, the obstruction taken off: area = pi/4 D^2 (1 - e^2). Many programs write the full
 * area for want of knowing better; so only an answer that a telescope may have is believed.
 */
function obstruction(apertureMm: number | null, areaMm2: number | null): number | null {
  if (apertureMm === null || areaMm2 === null || !(areaMm2 > 0)) return null;
  const ratio = Math.sqrt(1 - areaMm2 / ((Math.PI / 4) * apertureMm ** 2));
  return ratio > 0.1 && ratio < 0.7 ? ratio : null;
}

/** EGAIN is electrons per ADU; GAIN is that only where its comment says so, elsewhere a setting of the camera. */
function gain(headers: Header[], ask: Ask): number | null {
  const known = ask(['EGAIN'], 1e-4, 1e4, 'electrons per ADU');
  if (known !== null) return known;
  const comment = cardIn(headers, 'GAIN')?.comment ?? '';
  const documented = /\be(lectrons?|-)?\s*(\/|per)\s*(adu|dn|count)/i.test(comment);
  return documented ? ask(['GAIN'], 1e-4, 1e4, 'electrons per ADU') : null;
}
