// Pixels against what astropy and the formula of the FITS standard say; test/fixtures/decode/make.py made both.
import { readFileSync } from 'node:fs';
import { gunzipSync } from 'node:zlib';
import { expect, test } from 'vitest';
import expected from '../fixtures/decode/expected.json' with { type: 'json' };
import {
  card,
  decodeBytes,
  differences,
  frameOf,
  header,
  imageCards,
  joined,
  padded,
  physical,
  testKernels,
} from './fits-file.ts';

const folder = new URL('../fixtures/decode/', import.meta.url);
const arrays: Record<string, string> = expected.arrays;
interface Expected {
  pixels: string;
  kind: string;
  widthPx: number;
  heightPx: number;
  planes: number;
  exposureS?: number;
}
const files = Object.entries(expected.files as Record<string, Expected>);

const expectedPixels = (name: string) =>
  new Float32Array(Uint8Array.from(Buffer.from(arrays[name], 'base64')).buffer);

test.each(files)('%s: every pixel', async (name, want) => {
  const frame = await frameOf(gunzipSync(readFileSync(new URL(`${name}.fits.gz`, folder))));
  expect(frame).toMatchObject({ widthPx: want.widthPx, heightPx: want.heightPx, planes: want.planes });
  expect(frame.pixels.kind).toBe(want.kind);
  expect(differences(physical(await testKernels(), frame), expectedPixels(want.pixels))).toEqual([]);
  if (want.exposureS !== undefined) expect(frame.meta.exposureS).toBe(want.exposureS);
});

test('a gzipped file decodes to the same pixels', async () => {
  const frame = await frameOf(readFileSync(new URL('u16.fits.gz', folder)));
  expect(differences(physical(await testKernels(), frame), expectedPixels('u16'))).toEqual([]);
});

test('unsigned 16 bit keeps its numbers: words 8000 8001 FFFF 0000 7FFF are 0 1 32767 32768 65535', async () => {
  // FITS Standard 4.0, 5.2.5 and table 11; the words were checked with astropy 5.2.
  const words = [0x80, 0, 0x80, 1, 0xff, 0xff, 0, 0, 0x7f, 0xff];
  const data = new Uint8Array(32 * 32 * 2);
  data.set(words);
  const cards = [...imageCards(16, [32, 32]), card('BZERO', 32768)];
  const frame = await frameOf(joined(header(cards), padded(data)));
  const { arena } = await testKernels();
  expect(frame).toMatchObject({ scale: 1, zero: 0 });
  expect([...arena.u16(frame.pixels.address, 5)]).toEqual([0, 1, 32767, 32768, 65535]);
});

test('a file that lacks only the padding behind its pixels reads like the whole', async () => {
  const whole = gunzipSync(readFileSync(new URL('u16.fits.gz', folder)));
  const dataBytes = 37 * 33 * 2;
  const start = whole.length - Math.ceil(dataBytes / 2880) * 2880;
  const frame = await frameOf(whole.subarray(0, start + dataBytes));
  expect(differences(physical(await testKernels(), frame), expectedPixels('u16'))).toEqual([]);
  const shorter = await decodeBytes(whole.subarray(0, start + dataBytes - 1));
  expect(shorter.ok).toBe(false);
});

test('the further pictures of a file are told of, those of its first unit are not', async () => {
  const many = await frameOf(gunzipSync(readFileSync(new URL('many-units.fits.gz', folder))));
  expect(many.warnings.join()).toMatch(/2 pictures.*number 4, SCI/);
  const cube = await frameOf(gunzipSync(readFileSync(new URL('cube.fits.gz', folder))));
  expect(cube.warnings.join()).toMatch(/5 pictures one behind the other/);
  const plain = await frameOf(gunzipSync(readFileSync(new URL('u16.fits.gz', folder))));
  expect(plain.warnings).toEqual([]);
});
