// JPEG with its segments changed (ITU-T T.81, annex B), and the packings bzip2 and compress with any bytes changed.
import fc from 'fast-check';
import { existsSync, readdirSync, readFileSync } from 'node:fs';
import { expect, test } from 'vitest';
import { answers, checked } from './answers.ts';
import { edits, nastyNumber, overwritten, place, shuffled, shuffles, whole } from './mutate.ts';

const folder = new URL('../../fixtures/decode/pictures/', import.meta.url);
const filesLike = (pattern: RegExp) =>
  fc.constantFrom(
    ...readdirSync(folder)
      .filter((name) => pattern.test(name))
      .map((name) => ({ name, bytes: new Uint8Array(readFileSync(new URL(name, folder))) })),
  );
const jpeg = filesLike(/\.jpg$/);
const packed = filesLike(/\.(bz2|Z)$/);

/** The start marker, each segment with its marker, and the coded picture with what follows it. */
function segmentsOf(bytes: Uint8Array): Uint8Array[] {
  const view = new DataView(bytes.buffer, bytes.byteOffset);
  const parts = [bytes.subarray(0, 2)];
  let at = 2;
  while (at + 4 <= bytes.length && bytes[at + 1] !== 0xda) {
    const length = 2 + view.getUint16(at + 2);
    parts.push(bytes.subarray(at, at + length));
    at += length;
  }
  return [...parts, bytes.subarray(at)];
}

test('JPEG: bytes changed anywhere', () =>
  checked(
    fc.asyncProperty(jpeg, edits(20), ({ name, bytes }, list) =>
      answers(overwritten(bytes, list), `mutant-${name}`),
    ),
  ));

test('JPEG: segments cut, dropped, doubled or exchanged', () =>
  checked(
    fc.asyncProperty(jpeg, shuffles, ({ name, bytes }, list) =>
      answers(whole(shuffled(segmentsOf(bytes), list)), `mutant-${name}`),
    ),
  ));

test('JPEG: a segment with another number in it', () =>
  checked(
    fc.asyncProperty(jpeg, place, place, nastyNumber, ({ name, bytes }, which, where, number) => {
      const parts = segmentsOf(bytes).map((part) => part.slice());
      const part = parts[1 + (which % (parts.length - 1))];
      new DataView(part.buffer).setUint16(where % Math.min(20, part.length - 1), number & 0xffff);
      return answers(whole(parts), `mutant-${name}`);
    }),
  ));

test('bzip2 and compress: bytes changed anywhere, and the end cut off', () =>
  checked(
    fc.asyncProperty(packed, edits(6), place, fc.boolean(), ({ name, bytes }, list, length, cut) => {
      const mutant = overwritten(bytes, list);
      return answers(cut ? mutant.subarray(0, length % mutant.length) : mutant, `mutant-${name}`);
    }),
  ));

const crashes = new URL('../../fixtures/decode/crashes/', import.meta.url);
test('files that once went wrong', async () => {
  const names = existsSync(crashes) ? readdirSync(crashes) : [];
  for (const name of names)
    await expect(answers(new Uint8Array(readFileSync(new URL(name, crashes))), name), name).resolves.toBe(
      undefined,
    );
});
