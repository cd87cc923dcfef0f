// Mutated FITS files: whatever comes, the decoder answers with a frame or a fault, in bounded time and memory.
import fc from 'fast-check';
import { readFileSync } from 'node:fs';
import { gunzipSync } from 'node:zlib';
import { test } from 'vitest';
import expected from '../../fixtures/decode/expected.json' with { type: 'json' };
import { answers as judge, checked } from './answers.ts';
import { edits, inUnits, overwritten, place, shuffled, shuffles, whole } from './mutate.ts';

const folder = new URL('../../fixtures/decode/', import.meta.url);
const seed = fc.constantFrom(
  ...Object.keys(expected.files).map((name) => {
    const packed = readFileSync(new URL(`${name}.fits.gz`, folder));
    return { packed: new Uint8Array(packed), plain: new Uint8Array(gunzipSync(packed)) };
  }),
);
const answers = (bytes: Uint8Array) => judge(bytes, 'mutant.fits');

test('bytes changed anywhere', () =>
  checked(fc.asyncProperty(seed, edits(20), ({ plain }, changes) => answers(overwritten(plain, changes)))));

test('bytes changed in a gzipped file', () =>
  checked(fc.asyncProperty(seed, edits(5), ({ packed }, changes) => answers(overwritten(packed, changes)))));

test('cut, doubled or shuffled in blocks of 80 or 2880 bytes', () =>
  checked(
    fc.asyncProperty(seed, fc.constantFrom(1, 80, 2880), shuffles, ({ plain }, unit, operations) =>
      answers(whole(shuffled(inUnits(plain, unit), operations))),
    ),
  ));

test('values of cards replaced by what is hard to read', async () => {
  const nasty = fc.oneof(
    fc.constantFrom(
      ...[
        '-1',
        '0',
        '1',
        '2',
        '3',
        '999',
        '1000',
        '65535',
        '777777701',
        '2147483647',
        '4294967296',
        '1E300',
        '-1E300',
      ],
      ...[
        'NaN',
        'T',
        'F',
        '',
        "''",
        "'",
        "'RGGB'",
        "'1PB(9)'",
        "'1QB'",
        "'RICE_1'",
        "'HCOMPRESS_1'",
        "'PLIO_1'",
        "'GZIP_2'",
      ],
      ...[
        "'SUBTRACTIVE_DITHER_2'",
        '9223372036854775807',
        '-9223372036854775808',
        "'BINTABLE'",
        "'IMAGE   '",
      ],
    ),
    fc.double().map(String),
    fc.integer().map(String),
    fc.string({ maxLength: 60 }),
  );
  await checked(
    fc.asyncProperty(
      seed,
      fc.array(fc.record({ place, value: nasty }), { minLength: 1, maxLength: 4 }),
      async ({ plain }, changes) => {
        const bytes = plain.slice();
        const cards: number[] = [];
        for (let at = 0; at < bytes.length && cards.length < 120; at += 80)
          if (bytes[at + 8] === 0x3d && bytes[at + 9] === 0x20) cards.push(at);
        for (const { place, value } of changes) {
          const at = cards[place % cards.length];
          bytes.set(Buffer.from(value.padStart(20).padEnd(70).slice(0, 70), 'latin1'), at + 10);
        }
        await answers(bytes);
      },
    ),
  );
});
