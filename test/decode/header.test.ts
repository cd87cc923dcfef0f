// Cards against the FITS Standard 4.0 (section 4) and against what astropy reads from the same file.
import { readFileSync } from 'node:fs';
import { gunzipSync } from 'node:zlib';
import { expect, test } from 'vitest';
import { ByteReader } from '../../workers/decode/bytes.ts';
import { readCard } from '../../workers/decode/fits/card.ts';
import { paddingBytes, readHdu } from '../../workers/decode/fits/hdu.ts';
import { Header } from '../../workers/decode/fits/header.ts';
import { bytesSource } from '../../workers/decode/sources.ts';
import expected from '../fixtures/decode/expected.json' with { type: 'json' };
import { card, extensionCards, header, imageCards, joined } from './fits-file.ts';

const valueOf = (line: string) => readCard(line.padEnd(80)).value;

test('strings: doubled quotes, slashes inside, trailing blanks (4.2.1)', () => {
  expect(valueOf("NAME    = 'O''Neil  '           / a person")).toBe("O'Neil");
  expect(valueOf("NAME    = 'M31 / core'")).toBe('M31 / core');
  expect(valueOf("NAME    = '  lead'")).toBe('  lead');
  expect(valueOf("NAME    = ''")).toBe('');
  expect(valueOf("NAME    = ''''")).toBe("'");
  expect(valueOf("NAME    = 'never closed")).toBe('never closed');
  expect(readCard("NAME    = 'a / b' / what / it is".padEnd(80)).comment).toBe('what / it is');
});

test('numbers, logicals, undefined (4.2.2 to 4.2.4)', () => {
  expect(valueOf('N       =                   42 / whole')).toBe(42);
  expect(valueOf('N       = -1.5E-3')).toBe(-0.0015);
  expect(valueOf('N       = 1.5D3')).toBe(1500);
  expect(valueOf('N       = .5')).toBe(0.5);
  expect(valueOf('N       = +7.')).toBe(7);
  expect(valueOf('N       =                    T')).toBe(true);
  expect(valueOf('N       = F/no')).toBe(false);
  expect(valueOf('N       =')).toBe(null);
  expect(valueOf('N       =                      / nothing')).toBe(null);
});

test('a card without a value indicator is commentary (4.1.2.3), a close equals sign is forgiven', () => {
  expect(readCard('HISTORY = not a value'.padEnd(80))).toMatchObject({
    value: null,
    comment: '= not a value',
  });
  expect(valueOf("FILTER=='0,0'")).toBe(null);
  expect(valueOf('GAIN    =1.5')).toBe(1.5);
});

test('the first of several cards of one keyword counts, and a contradiction is known', () => {
  const cards = new Header(
    ['EXPTIME = 10', 'GAIN    = 1', 'EXPTIME = 20', 'GAIN    = 1'].map((line) => line.padEnd(80)),
  );
  expect(cards.number('EXPTIME')).toBe(10);
  expect(cards.contradicts('EXPTIME')).toBe(true);
  expect(cards.contradicts('GAIN')).toBe(false);
});

test('whole numbers stay exact beyond 2^53', () => {
  const cards = new Header(['BLANK   = -9223372036854775808'.padEnd(80), 'B       = 5.5'.padEnd(80)]);
  expect(cards.integer('BLANK')).toBe(-(2n ** 63n));
  expect(cards.integer('B')).toBe(null);
});

test('every odd card has the value that astropy gives', async () => {
  const file = gunzipSync(readFileSync(new URL('../fixtures/decode/odd-cards.fits.gz', import.meta.url)));
  const hdu = await readHdu(new ByteReader(bytesSource('odd', file), file.length), 0, 'odd');
  const { cards, history } = expected.files['odd-cards'];
  const read = Object.fromEntries(Object.keys(cards).map((name) => [name, hdu!.header.card(name)?.value]));
  expect(read).toEqual(cards);
  const lines = hdu!.header.commentary.filter((line) => line.startsWith('HISTORY'));
  expect(lines).toEqual(history.map((line) => `HISTORY ${line}`));
});

async function sizeOf(cards: string[], index = 0): Promise<number> {
  const bytes = header(cards);
  return (await readHdu(new ByteReader(bytesSource('x', bytes), bytes.length), index, 'x'))!.dataBytes;
}

test('size of the data: FITS Standard 4.0, equations 1, 2 and 4', async () => {
  expect(await sizeOf(imageCards(16, []))).toBe(0);
  expect(await sizeOf(imageCards(16, [100, 7]))).toBe(1400);
  expect(await sizeOf(imageCards(-64, [100, 7, 2]))).toBe(11200);
  expect(await sizeOf(imageCards(8, [777777701, 0]))).toBe(0);
  const table = [
    ...extensionCards('BINTABLE', 8, [24, 10]).slice(0, -2),
    card('PCOUNT', 1000),
    card('GCOUNT', 1),
  ];
  expect(await sizeOf(table, 1)).toBe(1240);
  // Equation 4: the first axis of random groups is 0 and does not count.
  const groups = [...imageCards(-32, [0, 5, 3]), card('GROUPS', true), card('PCOUNT', 2), card('GCOUNT', 10)];
  expect(await sizeOf(groups)).toBe(4 * 10 * (2 + 15));
  expect([0, 1, 2879, 2880, 2881].map(paddingBytes)).toEqual([0, 2879, 1, 0, 2879]);
});

test('END is found where it stands exactly at the end of a block', async () => {
  const filled = imageCards(8, []).concat(Array.from({ length: 32 }, (_, i) => card(`K${i}`, i)));
  const bytes = header(filled);
  expect(bytes.length).toBe(2880);
  const reader = new ByteReader(bytesSource('x', joined(bytes, bytes)), 5760);
  await readHdu(reader, 0, 'x');
  expect(reader.position).toBe(2880);
});
