import { failure, success, type Outcome } from '../protocol/faults.ts';
import { OPTICS_KINDS } from '../protocol/rig.ts';
import { EXPANSION_PER_K } from './depth-of-focus.ts';
import { NUMBER_KEYS, whyNot } from './sheet-limits.ts';
import { ADJUSTER_KINDS, EMPTY_SHEET, type RigSheet } from './sheet.ts';

/** Version of the file that `writeSheets` makes: { "cornerwiseRigs": 1, "rigs": [ a sheet, ... ] }. */
const VERSION = 1;
const MOST_RIGS = 200;
const LONGEST_NAME = 120;

export const writeSheets = (sheets: RigSheet[]): string =>
  `${JSON.stringify({ cornerwiseRigs: VERSION, rigs: sheets }, null, 2)}\n`;

/** Reads what `writeSheets` wrote. Fields that are missing stay untold; anything else that is wrong is a fault. */
export function readSheets(text: string): Outcome<RigSheet[]> {
  let data: unknown;
  try {
    data = JSON.parse(text);
  } catch {
    return failure('damaged', 'This file is no JSON: choose one that was saved here as a rig file.');
  }
  const version = isRecord(data) ? data.cornerwiseRigs : undefined;
  if (!isRecord(data) || typeof version !== 'number')
    return failure(
      'unsupported',
      'This JSON file holds no rigs: choose one that was saved here as a rig file.',
    );
  if (version > VERSION)
    return failure(
      'unsupported',
      'This rig file was made by a newer version of this page: update the page first.',
    );
  const rigs = data.rigs;
  if (!Array.isArray(rigs) || rigs.length === 0)
    return failure('damaged', 'This rig file holds no rig at all: save it again from where it came.');
  if (rigs.length > MOST_RIGS)
    return failure(
      'unsupported',
      `This file holds ${rigs.length} rigs; at most ${MOST_RIGS} are read at once.`,
    );
  const sheets: RigSheet[] = [];
  for (const [index, value] of rigs.entries()) {
    const sheet = readSheet(value, `Rig ${index + 1} of this file`);
    if (!sheet.ok) return sheet;
    sheets.push(sheet.value);
  }
  return success(sheets);
}

/** One sheet from untrusted data; `which` begins the sentence of a fault. */
export function readSheet(value: unknown, which: string): Outcome<RigSheet> {
  const wrong = (what: string) => failure('damaged', `${which} ${what}.`);
  if (!isRecord(value)) return wrong('is not a sheet of values: save it again from where it came');
  const sheet: RigSheet = structuredClone(EMPTY_SHEET);
  if (value.name !== undefined) {
    if (typeof value.name !== 'string' || value.name.trim() === '') return wrong('has no name: give it one');
    sheet.name = value.name.trim().slice(0, LONGEST_NAME);
  }
  for (const key of NUMBER_KEYS) {
    const told = value[key];
    if (told === undefined || told === null) continue;
    if (typeof told !== 'number') return wrong(`has “${key}” that is not a number: write it without quotes`);
    const reason = whyNot(key, told);
    if (reason) return wrong(`has “${key}” ${told}. ${reason.replace(/[.]$/, '')}`);
    sheet[key] = told;
  }
  for (const [key, known] of Object.entries(CHOICES)) {
    const told = value[key];
    if (told === undefined || told === null) continue;
    if (!known.includes(told as string))
      return wrong(`has “${key}” that is none of ${known.join(', ')}: choose one of these`);
    Object.assign(sheet, { [key]: told });
  }
  if (value.adapters !== undefined) {
    const adapters = readAdapters(value.adapters);
    if (!adapters) return wrong('has adapters that are not pairs of name and lengthMm: check the list');
    sheet.adapters = adapters;
  }
  if (isRecord(value.fixed))
    for (const key of Object.keys(sheet.fixed) as (keyof RigSheet['fixed'])[])
      sheet.fixed[key] = value.fixed[key] === true;
  return success(sheet);
}

const CHOICES = {
  optics: OPTICS_KINDS as readonly string[],
  tube: Object.keys(EXPANSION_PER_K),
  adjuster: ADJUSTER_KINDS as readonly string[],
  colour: ['mono', 'mosaic'],
  following: ['equatorial', 'altazimuth', 'none'],
} satisfies Partial<Record<keyof RigSheet, readonly string[]>>;

function readAdapters(value: unknown): RigSheet['adapters'] | null {
  if (!Array.isArray(value) || value.length > 50) return null;
  const adapters: RigSheet['adapters'] = [];
  for (const item of value) {
    if (!isRecord(item) || typeof item.name !== 'string' || typeof item.lengthMm !== 'number') return null;
    if (!(Math.abs(item.lengthMm) <= 500)) return null;
    adapters.push({ name: item.name.slice(0, LONGEST_NAME), lengthMm: item.lengthMm });
  }
  return adapters;
}

const isRecord = (value: unknown): value is Record<string, unknown> =>
  typeof value === 'object' && value !== null && !Array.isArray(value);
