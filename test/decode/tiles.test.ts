// Tile compression where fixtures do not reach: the random numbers, damage, and headers that contradict themselves.
import { readFileSync } from 'node:fs';
import { gunzipSync } from 'node:zlib';
import { expect, test } from 'vitest';
import { ditherSequence } from '../../workers/decode/fits/fitsjs-adapter.ts';
import { unpackPlio } from '../../workers/decode/fits/tiles/plio.ts';
import { unpackRice } from '../../workers/decode/fits/tiles/rice.ts';
import { decodeBytes, testKernels } from './fits-file.ts';

const fixture = (name: string) =>
  new Uint8Array(gunzipSync(readFileSync(new URL(`../fixtures/decode/${name}.fits.gz`, import.meta.url))));

test('the random numbers of dithering: the 10 000th seed is 1043618065 (FITS Standard 4.0, appendix I)', async () => {
  const random = await ditherSequence();
  expect(random.length).toBe(10000);
  expect(random[0]).toBe(Math.fround(16807 / 2147483647));
  expect(random[9999]).toBe(Math.fround(1043618065 / 2147483647));
});

test('Rice by hand: a first value, a block of equal pixels, a block with two low bits kept', () => {
  // 100 in 16 bit; code 0 (four bits 0000) for the first block of two; code 3 (0011): two low bits kept. Differences
  // +1, -3 fold to 2 and 5: 0 zeros + 1 + 10, then 1 zero + 1 + 01.
  const bits = '0000000001100100' + '0000' + '0011' + '1' + '10' + '01' + '01';
  const bytes = Uint8Array.from(bits.padEnd(32, '0').match(/.{8}/g)!, (byte) => parseInt(byte, 2));
  const pixels = new Int32Array(4);
  expect(unpackRice(bytes, 2, 2, pixels, 4)).toBe(true);
  expect([...pixels]).toEqual([100, 100, 101, 98]);
  expect(unpackRice(bytes.subarray(0, 2), 2, 2, pixels, 4)).toBe(false);
});

test('PLIO by hand: zeros, a run of the value, the value raised, one pixel', () => {
  const words = [0, 7, -100, 12, 0, 0, 0, 0x0003, 0x4002, 0x2004, 0x5002, 0x6001];
  const bytes = new Uint8Array(words.length * 2);
  words.forEach((word, i) => new DataView(bytes.buffer).setInt16(2 * i, word));
  const pixels = new Int32Array(9);
  expect(unpackPlio(bytes, pixels, 9)).toBe(true);
  // three zeros; two of value 1; the value becomes 5; one zero and one 5; raised to 6 and painted once; the rest zero
  expect([...pixels]).toEqual([0, 0, 0, 1, 1, 0, 5, 6, 0]);
});

const NAMES = [
  'rice1-sky',
  'gzip1-sky',
  'gzip2-sky',
  'hcompress1-sky',
  'plio',
  'rice1-dither1',
  'gzip1-lossless',
];

test.each(NAMES)('%s: cut short anywhere, it is refused or (only padding lost) read', async (name) => {
  const bytes = fixture(`tiles-${name}`);
  const mark = (await testKernels()).arena.mark();
  for (let cut = 1; cut < bytes.length; cut += 977) {
    const outcome = await decodeBytes(bytes.subarray(0, bytes.length - cut));
    if (!outcome.ok) expect(['damaged', 'no-image', 'not-a-frame']).toContain(outcome.fault.code);
    else expect(cut).toBeLessThan(2880);
  }
  expect((await testKernels()).arena.mark()).toBe(mark);
});

/** The fixture with one card replaced by another of the same keyword. */
function withCard(bytes: Uint8Array, keyword: string, value: string): Uint8Array {
  const text = Buffer.from(bytes).toString('latin1');
  const at = text.indexOf(`${keyword.padEnd(8)}=`);
  expect(at % 80).toBe(0);
  const changed = bytes.slice();
  changed.set(Buffer.from(`${keyword.padEnd(8)}= ${value}`.padEnd(80).slice(0, 80), 'latin1'), at);
  return changed;
}

test.each([
  ['ZCMPTYPE', "'MAGIC_1 '", 'unsupported', /MAGIC_1/],
  ['ZBITPIX', '64', 'unsupported', /64-bit/],
  ['ZBITPIX', '13', 'damaged', /ZBITPIX is 13/],
  ['ZTILE1', '0', 'damaged', /ZTILE1 is 0/],
  ['ZNAXIS2', '999999', 'damaged', /999999 tiles but has 33/],
  ['ZNAXIS1', '777777701', 'damaged', /tiles but has 33/],
  ['ZVAL1', '-5', 'damaged', /Rice blocks/],
  ['ZVAL2', '3', 'damaged', /of 3 bytes/],
  ['TFORM1', "'nonsense'", 'damaged', /columns/],
  ['TFORM1', "'9999D   '", 'damaged', /columns/],
  ['TFORM1', "'1J      '", 'damaged', /Part 1 of 33/],
])('a header that lies: %s = %s', async (keyword, value, code, words) => {
  const outcome = await decodeBytes(withCard(fixture('tiles-rice1-sky'), keyword, value));
  expect(outcome).toMatchObject({ ok: false, fault: { code } });
  if (!outcome.ok) expect(outcome.fault.message).toMatch(words);
});

test('a tile that is larger than its bytes can fill takes no memory', async () => {
  // One row says that it holds 400 000 x 900 pixels.
  let bytes: Uint8Array = fixture('tiles-rice1-sky');
  bytes = withCard(withCard(bytes, 'ZNAXIS1', '400000'), 'ZNAXIS2', '900');
  bytes = withCard(withCard(bytes, 'ZTILE1', '400000'), 'ZTILE2', '28'); // 33 tiles
  const before = (await testKernels()).run.memory.buffer.byteLength;
  expect(await decodeBytes(bytes)).toMatchObject({ ok: false, fault: { code: 'damaged' } });
  expect((await testKernels()).run.memory.buffer.byteLength - before).toBeLessThan(40e6);
});
