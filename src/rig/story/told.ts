import type { NumberKey, RigSheet } from '../../../workers/rig/sheet.ts';
import { plain } from '../../format/quantity.ts';
import { untold } from '../sheet-words.ts';

/** What follows from a sheet, in words: sentences, formula and source; or what is missing to say it. */
export interface Told {
  id: string;
  title: string;
  says: string[];
  formula: string;
  source: string;
  /** Names of numbers that are needed and not told; then `says` is empty. */
  missing: string[];
}

/** The sheet with the named numbers known. */
export type With<Key extends NumberKey> = RigSheet & Record<Key, number>;

/** Words for a result that needs `keys`; `say` is asked only when all of them are told. */
export function tell<Key extends NumberKey>(
  what: Pick<Told, 'id' | 'title' | 'formula' | 'source'>,
  sheet: RigSheet,
  keys: Key[],
  say: (sheet: With<Key>) => string[],
): Told {
  const missing = untold(sheet, keys);
  return { ...what, missing, says: missing.length ? [] : say(sheet as With<Key>) };
}

const NARROW = '\u202f';

/** Three digits, so that 0.0123 and 123 are both told; with a thin space before the unit. */
export function told(value: number, unit: string): string {
  const size = Math.abs(value);
  const decimals = size >= 100 || size === 0 ? 0 : size >= 10 ? 1 : size >= 0.1 ? 2 : 3;
  const exact = plain(value, decimals);
  const text = size >= 1000 ? grouped(value) : exact.replace(/[.]0+$/, '');
  return unit === '' || unit === '″' || unit === '′' || unit === '°'
    ? text + unit
    : `${text}${NARROW}${unit}`;
}

const grouped = (value: number): string => plain(value, 0).replace(/\B(?=(\d{3})+$)/g, NARROW);

export const ratioText = (ratio: number): string =>
  `f/${plain(ratio, Math.abs(ratio - Math.round(ratio)) < 0.05 ? 0 : 1)}`;

/** "45 s", "12 min", "3.4 h". */
export function duration(seconds: number): string {
  if (seconds < 120) return told(seconds, 's');
  return seconds < 7200 ? told(seconds / 60, 'min') : told(seconds / 3600, 'h');
}
