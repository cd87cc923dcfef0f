// TIFF and DNG files with their directories changed: fields of other types, counts and values, lists of directories in a
// circle, parts that lie elsewhere. The layout is that of TIFF 6.0, section 2 (and of BigTIFF).
import fc from 'fast-check';
import { readdirSync, readFileSync } from 'node:fs';
import { gzipSync } from 'node:zlib';
import { test } from 'vitest';
import { answers, checked } from './answers.ts';
import { edits, nastyNumber, overwritten, place } from './mutate.ts';

const folder = new URL('../../fixtures/decode/pictures/', import.meta.url);
const seed = fc.constantFrom(
  ...readdirSync(folder)
    .filter((name) => /\.(tif|dng)$/.test(name))
    .map((name) => ({ name, bytes: new Uint8Array(readFileSync(new URL(name, folder))) })),
);

interface Entries {
  view: DataView;
  little: boolean;
  big: boolean;
  /** Where each field of twelve (twenty) bytes begins, and where the next directory is named. */
  at: number[];
  next: number[];
}

/** Where the fields of a sound file lie. */
function entriesOf(bytes: Uint8Array): Entries {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const little = bytes[0] === 0x49;
  const big = view.getUint16(2, little) === 43;
  const offset = (at: number) => (big ? Number(view.getBigUint64(at, little)) : view.getUint32(at, little));
  const found: Entries = { view, little, big, at: [], next: [big ? 8 : 4] };
  for (let at = offset(found.next[0]); at !== 0;) {
    const count = big ? Number(view.getBigUint64(at, little)) : view.getUint16(at, little);
    const first = at + (big ? 8 : 2);
    for (let i = 0; i < count; i++) found.at.push(first + i * (big ? 20 : 12));
    found.next.push(first + count * (big ? 20 : 12));
    at = offset(found.next.at(-1)!);
  }
  return found;
}

const change = fc.record({
  what: fc.constantFrom('tag', 'type', 'count', 'value', 'short', 'copy', 'next', 'through'),
  place,
  other: place,
  number: nastyNumber,
});
type Change = { what: string; place: number; other: number; number: number };

/** Tags that a reader asks for (TIFF 6.0, DNG 1.6), to be put where another was. */
const TAGS = [
  254, 256, 257, 258, 259, 262, 266, 273, 277, 278, 279, 284, 317, 320, 322, 323, 324, 325, 330, 338, 339,
  347, 33421, 33422, 33434, 34665, 50706, 50710, 50711, 50713, 50714, 50717, 50829,
];

function changed(bytes: Uint8Array, changes: Change[]): Uint8Array {
  const mutant = bytes.slice();
  const { view, little, big, at, next } = entriesOf(mutant);
  const putOffset = (where: number, value: number) =>
    big ? view.setBigUint64(where, BigInt(value), little) : view.setUint32(where, value, little);
  const valueAt = big ? 12 : 8;
  for (const { what, place, other, number } of changes) {
    const entry = at[place % at.length];
    const from = at[other % at.length];
    if (what === 'tag') view.setUint16(entry, TAGS[other % TAGS.length], little);
    else if (what === 'type') view.setUint16(entry + 2, number % 20, little);
    else if (what === 'count') putOffset(entry + 4, number);
    else if (what === 'value') putOffset(entry + valueAt, number);
    else if (what === 'short') view.setUint16(entry + valueAt, number, little);
    else if (what === 'copy') mutant.copyWithin(entry, from, from + (big ? 20 : 12));
    else if (what === 'next') putOffset(next[place % next.length], number % (2 * mutant.length));
    else {
      // Through the pointer: a number in a list of values, such as one strip's place or length.
      const list = view.getUint32(entry + valueAt, little);
      if (list + 8 <= mutant.length) view.setUint32(list, number, little);
    }
  }
  return mutant;
}

const changes = fc.array(change, { minLength: 1, maxLength: 5 });

test('fields of the directories changed', () =>
  checked(
    fc.asyncProperty(seed, changes, ({ name, bytes }, list) =>
      answers(changed(bytes, list), `mutant-${name}`),
    ),
  ));

test('fields changed in a gzipped file, another picture chosen', () =>
  checked(
    fc.asyncProperty(seed, changes, fc.nat({ max: 3 }), ({ name, bytes }, list, unit) =>
      answers(new Uint8Array(gzipSync(changed(bytes, list), { level: 1 })), `mutant-${name}.gz`, { unit }),
    ),
  ));

test('bytes changed anywhere, and the end cut off', () =>
  checked(
    fc.asyncProperty(seed, edits(20), place, fc.boolean(), ({ name, bytes }, list, length, cut) => {
      const mutant = overwritten(bytes, list);
      return answers(cut ? mutant.subarray(0, length % mutant.length) : mutant, `mutant-${name}`);
    }),
  ));
