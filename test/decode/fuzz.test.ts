// Mutated files: whatever comes, the decoder answers with a frame or a fault, in bounded time and memory.
import fc from 'fast-check';
import { readFileSync } from 'node:fs';
import { gunzipSync } from 'node:zlib';
import { expect, test } from 'vitest';
import { decodeFrame } from '../../workers/decode/index.ts';
import { bytesSource } from '../../workers/decode/sources.ts';
import { FAULT_CODES } from '../../workers/protocol/faults.ts';
import { loadKernels, type Kernels } from '../../workers/wasm/kernels.ts';
import expected from '../fixtures/decode/expected.json' with { type: 'json' };

const RUNS = Number(process.env.FUZZ_RUNS ?? 250);
const folder = new URL('../fixtures/decode/', import.meta.url);
const seeds = Object.keys(expected.files).map((name) => {
  const packed = readFileSync(new URL(`${name}.fits.gz`, folder));
  return { name, packed: new Uint8Array(packed), plain: new Uint8Array(gunzipSync(packed)) };
});

/** No file of these is over 60 kB: the bound is that of a fault, with room for one growth step of memory. */
const MOST_GROWTH_BYTES = 64e6;
let kernels: Kernels | null = null;

async function answers(bytes: Uint8Array): Promise<void> {
  kernels ??= await loadKernels();
  const mark = kernels.arena.mark();
  const before = kernels.run.memory.buffer.byteLength;
  const outcome = await decodeFrame(bytesSource('mutant.fits', bytes), kernels);
  if (outcome.ok) {
    const { widthPx, heightPx, planes, pixels } = outcome.value.frame;
    const last = pixels.address + widthPx * heightPx * planes * (pixels.kind === 'u16' ? 2 : 4);
    expect(last).toBeLessThanOrEqual(kernels.arena.mark());
    expect(pixels.address).toBeGreaterThanOrEqual(mark);
  } else {
    expect(FAULT_CODES).toContain(outcome.fault.code);
    expect(outcome.fault.code).not.toBe('internal');
    expect(outcome.fault.message.length).toBeLessThan(500);
  }
  kernels.arena.reset(mark);
  expect(kernels.run.memory.buffer.byteLength - before).toBeLessThan(MOST_GROWTH_BYTES);
}

const seed = fc.constantFrom(...seeds);
const place = fc.nat();
const edit = fc.record({ place, byte: fc.integer({ min: 0, max: 255 }) });

const checked = (property: fc.IAsyncProperty<unknown>) =>
  fc.assert(property, {
    numRuns: RUNS,
    ...(process.env.FUZZ_SEED ? { seed: Number(process.env.FUZZ_SEED) } : {}),
  });

test('bytes changed anywhere', async () => {
  await checked(
    fc.asyncProperty(seed, fc.array(edit, { minLength: 1, maxLength: 20 }), async ({ plain }, edits) => {
      const bytes = plain.slice();
      for (const { place, byte } of edits) bytes[place % bytes.length] = byte;
      await answers(bytes);
    }),
  );
});

test('bytes changed in a gzipped file', async () => {
  await checked(
    fc.asyncProperty(seed, fc.array(edit, { minLength: 1, maxLength: 5 }), async ({ packed }, edits) => {
      const bytes = packed.slice();
      for (const { place, byte } of edits) bytes[place % bytes.length] = byte;
      await answers(bytes);
    }),
  );
});

test('cut, doubled or shuffled in blocks of 80 or 2880 bytes', async () => {
  const operation = fc.record({
    unit: fc.constantFrom(1, 80, 2880),
    kind: fc.constantFrom('cut', 'drop', 'double', 'swap'),
    from: place,
    to: place,
  });
  await checked(
    fc.asyncProperty(
      seed,
      fc.array(operation, { minLength: 1, maxLength: 4 }),
      async ({ plain }, operations) => {
        let bytes = Buffer.from(plain);
        for (const { unit, kind, from, to } of operations) {
          const units = Math.max(1, Math.floor(bytes.length / unit));
          const [a, b] = [(from % units) * unit, (to % units) * unit];
          const piece = (at: number) => bytes.subarray(at, at + unit);
          if (kind === 'cut') bytes = bytes.subarray(0, a + 1);
          else if (kind === 'drop') bytes = Buffer.concat([bytes.subarray(0, a), bytes.subarray(a + unit)]);
          else if (kind === 'double')
            bytes = Buffer.concat([bytes.subarray(0, a), piece(b), bytes.subarray(a)]);
          else {
            const [first, second] = [Buffer.from(piece(a)), Buffer.from(piece(b))];
            bytes = Buffer.from(bytes);
            bytes.set(second.subarray(0, first.length), a);
            bytes.set(first.subarray(0, second.length), b);
          }
        }
        await answers(new Uint8Array(bytes));
      },
    ),
  );
});

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
