// Whatever is wrong with a file comes back as one sentence that says what and what to do.
import { gzipSync } from 'node:zlib';
import { expect, test } from 'vitest';
import { decodeFrame } from '../../workers/decode/index.ts';
import { bytesSource } from '../../workers/decode/sources.ts';
import type { FaultCode } from '../../workers/protocol/faults.ts';
import {
  card,
  decodeBytes,
  extensionCards,
  header,
  imageCards,
  joined,
  padded,
  testKernels,
  u16File,
} from './fits-file.ts';

const ascii = (text: string) => Uint8Array.from(text, (letter) => letter.charCodeAt(0));
const image = (bitpix: number, axes: number[], cards: string[] = [], dataBytes?: number) =>
  joined(
    header([...imageCards(bitpix, axes), ...cards]),
    padded(
      new Uint8Array(
        dataBytes ?? (Math.abs(bitpix) / 8) * axes.reduce((all, n) => all * n, axes.length && 1),
      ),
    ),
  );
const unit = (kind: string, bitpix: number, axes: number[]) =>
  joined(
    header(extensionCards(kind, bitpix, axes)),
    padded(new Uint8Array((Math.abs(bitpix) / 8) * axes[0] * axes[1])),
  );

const good = u16File(
  64,
  48,
  new Uint16Array(64 * 48).map((_, i) => i),
);

/** What is wrong, the bytes, the code, and words that the sentence must hold. */
const REFUSED: [string, Uint8Array, FaultCode, RegExp][] = [
  ['an empty file', new Uint8Array(0), 'damaged', /empty/],
  ['one byte', ascii('S'), 'not-a-frame', /FITS/],
  ['text', ascii('hello, this is a letter'), 'not-a-frame', /FITS/],
  ['TIFF, little-endian', ascii('II*\0aaaaaaaa'), 'damaged', /TIFF.*Copy/],
  ['TIFF, big-endian', ascii('MM\0*aaaaaaaa'), 'damaged', /TIFF/],
  ['a raw file built on TIFF', ascii('II*\0\x10\0\0\0CR\x02\0'), 'unsupported', /camera raw/],
  ['a raw file of another kind', ascii('\0\0\0\x18ftypcrx '), 'unsupported', /camera raw/],
  ['the first bytes of a PNG', ascii('\x89PNG\r\n\x1a\n'), 'damaged', /PNG.*header/],
  ['the first bytes of a JPEG', ascii('\xff\xd8\xff\xe0'), 'damaged', /JPEG/],
  ['the first bytes of a bzip2', ascii('BZh91AY&SY'), 'damaged', /bzip2/],
  ['the first bytes of a .Z', ascii('\x1f\x9d\x90'), 'damaged', /empty/],
  ['an AVI', ascii('RIFF\0\0\0\0AVI LIST'), 'unsupported', /video.*record single frames/],
  ['a QuickTime video', ascii('\0\0\0\x14ftypqt  '), 'unsupported', /video/],
  ['a raw video', ascii('LUCAM\0'), 'unsupported', /video/],
  ['a bitmap', ascii('BM\0\0'), 'unsupported', /screen.*FITS/],
  ['a TIFF whose directory lies behind its end', ascii('II*\0\xff\xff\xff\x7f'), 'damaged', /TIFF/],
  ['bzip2 within gzip', gzipSync(ascii('BZh91AY&SY')), 'unsupported', /more than once/],
  ['zip', ascii('PK\x03\x04'), 'unsupported', /zip/],
  ['gzip within gzip', gzipSync(gzipSync(good)), 'unsupported', /more than once/],
  ['gzip cut short', gzipSync(good).subarray(0, 200), 'damaged', /gzip/],
  [
    'gzip with a wrong byte',
    gzipSync(good).map((byte, i) => (i === 30 ? byte ^ 255 : byte)),
    'damaged',
    /gzip/,
  ],
  ['an extension without its file', unit('IMAGE', 16, [50, 50]), 'damaged', /middle of a FITS/],
  ['a garbled first card', ascii('SIMPLE = T'), 'damaged', /garbled/],
  ['a header without END', header(imageCards(16, [64, 64])).subarray(0, 400), 'damaged', /END/],
  [
    'pixels behind a header without END',
    joined(header(imageCards(16, [64, 64])).map((b, i) => (i >= 400 ? 200 : b))),
    'damaged',
    /END/,
  ],
  [
    'endless cards without END',
    ascii(card('SIMPLE', true).padEnd(80) + ' '.repeat(20_000_000)),
    'damaged',
    /END/,
  ],
  ['a header only', image(8, []), 'no-image', /header without data/],
  ['no pixel at all', image(8, [0, 0]), 'no-image', /0 x 0/],
  ['777777701 x 0', image(8, [777777701, 0]), 'no-image', /777777701 x 0/],
  ['a spectrum', image(-32, [4000]), 'no-image', /one-dimensional/],
  ['a spectrum with thin axes', image(-32, [4000, 1, 1]), 'no-image', /one-dimensional/],
  ['tables only', joined(image(8, []), unit('BINTABLE', 8, [40, 40])), 'no-image', /tables/],
  [
    'random groups',
    image(-32, [0, 5], [card('GROUPS', true), card('GCOUNT', 3), card('PCOUNT', 2)], 84),
    'no-image',
    /random groups/,
  ],
  ['a cut-out', image(16, [31, 400]), 'too-small', /31 x 400.*32/],
  [
    'cut-outs only',
    joined(image(8, []), unit('IMAGE', 16, [10, 12]), unit('IMAGE', 16, [9, 9])),
    'too-small',
    /10 x 12/,
  ],
  ['colours side by side', image(8, [3, 64, 48]), 'unsupported', /NAXIS3 = 3/],
  ['half of the pixels', good.subarray(0, 2880 + 64 * 24 * 2), 'damaged', /6144 bytes.*3072 bytes.*50 %/],
  ['half of the pixels, gzipped', gzipSync(good.subarray(0, 2880 + 64 * 24 * 2)), 'damaged', /50 %/],
  ['no pixels', good.subarray(0, 2880), 'damaged', /0 %/],
  ['777777701 pixels a side', image(16, [777777701, 777777701], [], 2880), 'too-large', /777777701/],
  [
    '777777701 pixels a side, gzipped',
    gzipSync(image(16, [777777701, 777777701], [], 2880)),
    'too-large',
    /777777701/,
  ],
  ['all blank', image(-32, [40, 40]).map((byte, i) => (i >= 2880 ? 255 : byte)), 'no-signal', /blank/],
  ['BITPIX 12', image(12, [64, 64]), 'damaged', /BITPIX is 12/],
  ['NAXIS missing', header([card('SIMPLE', true), card('BITPIX', 8)]), 'damaged', /NAXIS is missing/],
  [
    'NAXIS 1000000',
    header([card('SIMPLE', true), card('BITPIX', 8), card('NAXIS', 1e6)]),
    'damaged',
    /NAXIS is 1000000/,
  ],
  ['NAXIS1 negative', image(16, [-64, 64], [], 2880), 'damaged', /NAXIS1 is -64/],
  ['NAXIS2 a fraction', image(16, [64, 64.5], [], 2880), 'damaged', /NAXIS2 is 64.5/],
];

test.each(REFUSED)('%s', async (_, bytes, code, words) => {
  const kernels = await testKernels();
  const mark = kernels.arena.mark();
  const outcome = await decodeFrame(bytesSource('night.fits', bytes), kernels);
  expect(outcome).toMatchObject({ ok: false, fault: { code } });
  if (outcome.ok) return;
  expect(outcome.fault.message).toMatch(words);
  // One or two plain sentences that name what the trouble is with, and nothing of the program's insides.
  expect(outcome.fault.message).toMatch(/^[A-Z]|^night\.fits/);
  expect(outcome.fault.message).toMatch(/\.$/);
  expect(outcome.fault.message).not.toMatch(/undefined|NaN|null|Error|object/);
  expect(kernels.arena.mark(), 'what was allocated is given back').toBe(mark);
});

test('a small file that promises a giant picture takes no memory for it', async () => {
  const kernels = await testKernels();
  const before = kernels.run.memory.buffer.byteLength;
  const promise = image(-32, [19000, 20000], [], 2880); // 1.5 GB
  for (const bytes of [promise, gzipSync(promise)])
    expect(await decodeFrame(bytesSource('x.fits', bytes), kernels)).toMatchObject({
      ok: false,
      fault: { code: 'damaged' },
    });
  expect(kernels.run.memory.buffer.byteLength - before).toBeLessThan(40e6);
});

test('a gzip bomb is stopped', async () => {
  // Less than 1 MB of packed zeros unpacks to 330 MB behind a header that announces a table as large.
  const table = joined(
    image(8, []),
    header(extensionCards('BINTABLE', 8, [1_000_000, 1000])),
    new Uint8Array(330e6),
  );
  const packed = gzipSync(table, { level: 9 });
  expect(packed.length).toBeLessThan(1e6);
  const outcome = await decodeBytes(packed, 'bomb.fits.gz');
  expect(outcome).toMatchObject({ ok: false, fault: { code: 'too-large' } });
});

test('a cancelled reading says so and gives its memory back', async () => {
  const kernels = await testKernels();
  const mark = kernels.arena.mark();
  const control = new AbortController();
  const large = u16File(1024, 2048, new Uint16Array(1024 * 2048));
  const stop = () => control.abort();
  const outcome = await decodeFrame(bytesSource('x.fits', large), kernels, control.signal, stop);
  expect(outcome).toMatchObject({ ok: false, fault: { code: 'cancelled' } });
  expect(kernels.arena.mark()).toBe(mark);
});

test('a source that fails in the middle is told in its own words', async () => {
  const kernels = await testKernels();
  const whole = u16File(1024, 1024, new Uint16Array(1024 * 1024));
  const source = {
    ...bytesSource('x.fits', whole),
    async *stream() {
      yield whole.subarray(0, 100_000);
      throw new Error('x.fits was unplugged. Choose it again.');
    },
  };
  expect(await decodeFrame(source, kernels)).toEqual({
    ok: false,
    fault: { code: 'cannot-read', message: 'x.fits was unplugged. Choose it again.' },
  });
});

test('progress ends at the whole', async () => {
  const seen: number[] = [];
  const outcome = await decodeFrame(bytesSource('x', good), await testKernels(), undefined, (progress) => {
    expect(progress).toMatchObject({ stage: 'reading', total: 64 * 48 * 2 });
    seen.push(progress.done);
  });
  expect(outcome.ok).toBe(true);
  expect(seen.at(-1)).toBe(64 * 48 * 2);
});
