import { stringIn, type Header } from './header.ts';

/**
 * Start of the exposure as ISO 8601 in UTC, from DATE-OBS. The time of day may stand apart in TIME-OBS or UT; the form
 * DD/MM/YY is the one of before 1999 (FITS Standard 4.0, 9.1.1 and its history) and means 19YY. Null when it makes
 * no sense, with a warning.
 */
export function startTime(headers: Header[], warnings: string[]): string | null {
  const written = stringIn(headers, 'DATE-OBS');
  if (written === null) return null;
  const time = parse(written, stringIn(headers, 'TIME-OBS') ?? stringIn(headers, 'UT') ?? '');
  if (time === null)
    warnings.push(`DATE-OBS is "${written.slice(0, 40)}" in the header, which is no date: not used.`);
  return time;
}

const ISO = /^(\d{4}-\d\d-\d\d)(?:[T ](\d\d:\d\d(?::\d\d(?:\.\d*)?)?)\s*(Z|[+-]\d\d:?\d\d)?)?$/i;
const OLD = /^(\d\d)[/-](\d\d)[/-](\d\d)$/;
const TIME_OF_DAY = /^\d\d:\d\d(:\d\d(\.\d*)?)?$/;

function parse(written: string, timeOfDay: string): string | null {
  const old = OLD.exec(written);
  const iso = ISO.exec(old ? `19${old[3]}-${old[2]}-${old[1]}` : written);
  if (!iso) return null;
  const [, date, time = TIME_OF_DAY.test(timeOfDay) ? timeOfDay : '00:00:00', zone = 'Z'] = iso;
  const moment = new Date(`${date}T${time.replace(/\.$/, '')}${zone.replace(/^([+-]\d\d)(\d\d)$/, '$1:$2')}`);
  return Number.isNaN(moment.getTime()) ? null : moment.toISOString();
}
