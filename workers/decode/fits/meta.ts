import type { FrameMeta, Pointing } from '../../protocol/frame.ts';
import type { Doubt } from '../../protocol/reading.ts';
import { cardIn, numberIn, stringIn, type Header } from './header.ts';
import { checkScale, pixelSizeUm } from './pixel-size.ts';
import { startTime } from './time.ts';

/** What is told of a header while it is read. */
export interface Notes {
  warnings: string[];
  doubts: Doubt[];
}

/**
 * What the camera program said about the exposure. No registry holds the keywords of amateur cameras; the meanings
 * are those of the public keyword dictionaries (HEASARC's common dictionary for EXPTIME, EXPOSURE and DATE-OBS).
 * A value that cannot be is told of and left out.
 */
export function frameMeta(headers: Header[], pointing: Pointing | null, notes: Notes): FrameMeta {
  const { warnings } = notes;
  const ask = (names: string[], least: number, most: number, unit: string) =>
    plausible(headers, names, least, most, unit, notes);
  const apertureMm = ask(['APTDIA'], 5, 20_000, 'mm');
  const focalLengthMm = ask(['FOCALLEN'], 5, 200_000, 'mm');
  const exposureS = ask(['EXPTIME', 'EXPOSURE'], 1e-6, 1e6, 's');
  const pixel = pixelSizeUm(headers, ask, pointing, notes);
  checkScale(pixel, focalLengthMm, pointing, notes);
  const imageType = stringIn(headers, 'IMAGETYP');
  warnings.push(...kindWarnings(imageType, numberIn(headers, 'NCOMBINE')));
  return {
    format: 'FITS',
    exposureS,
    startTime: startTime(headers, warnings),
    pixelSizeUm: pixel,
    focalLengthMm,
    apertureMm,
    obstruction: obstruction(apertureMm, numberIn(headers, 'APTAREA')),
    gainElectronsPerAdu: gain(headers, ask),
    focusPosition: ask(['FOCUSPOS', 'FOCPOS'], -1e7, 1e7, 'steps'),
    temperatureC: ask(['CCD-TEMP'], -250, 100, 'degrees'),
    imageType,
    pointing,
  };
}

export type Ask = (names: string[], least: number, most: number, unit: string) => number | null;

/** The first of `names` that has a value within [least, most]. */
function plausible(
  headers: Header[],
  names: string[],
  least: number,
  most: number,
  unit: string,
  { warnings, doubts }: Notes,
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
    } else if (Math.abs(value - found) > 0.01 * Math.abs(found)) {
      const says = `${names[0]} and ${name} differ in the header: ${found} ${unit}, not ${value} ${unit}, is used.`;
      warnings.push(says);
      if (names.includes('EXPTIME')) doubts.push({ about: 'exposureS', says, used: found, instead: value });
    }
  }
  return found;
}

/**
 * What a kind of frame means for the measurement. IMAGETYP holds the words of the camera program; NCOMBINE is the number
 * of exposures in one that was put together (the keyword of the observatories' reduction packages).
 */
function kindWarnings(imageType: string | null, combined: number | null): string[] {
  const called = `The header calls this frame "${imageType}"`;
  if (imageType && /dark|bias|flat|zero|offset/i.test(imageType))
    return [`${called}: it should hold no stars.`];
  const stacked =
    'shifts and rejected pixels between them change the stars, and a trail or a knock in one of them is lost. Give a single raw exposure.';
  if (combined !== null && combined > 1)
    return [`By its header this frame was put together from ${combined} exposures: ${stacked}`];
  if (imageType && /master|stack|sum|mean|median|average|combine|integrat/i.test(imageType))
    return [`${called}, which sounds like several exposures put together: ${stacked}`];
  return [];
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
