// What the header says about the exposure. Meanings: HEASARC's common keyword dictionary and the public dictionaries
// of camera keywords (XPIXSZ after binning, EGAIN in electrons per ADU, APTAREA without the obstruction).
import { expect, test } from 'vitest';
import type { FrameMeta } from '../../workers/protocol/frame.ts';
import { card, decodedFrom, frameOf, header, imageCards, joined, padded, u16File } from './fits-file.ts';

const PIXELS = new Uint16Array(40 * 40).fill(1000);
const withCards = (...cards: string[]) => frameOf(u16File(40, 40, PIXELS, cards));

test('a full header', async () => {
  const { meta, warnings } = await withCards(
    card('EXPTIME', 30),
    card('DATE-OBS', '2024-05-06T21:22:23.5'),
    card('XPIXSZ', 3.76),
    card('YPIXSZ', 3.76),
    card('XBINNING', 1),
    card('FOCALLEN', 750),
    card('APTDIA', 150),
    card('EGAIN', 0.25),
    card('FOCUSPOS', 12345),
    card('CCD-TEMP', -10),
    card('IMAGETYP', 'Light Frame'),
  );
  expect(warnings).toEqual([]);
  expect(meta).toEqual({
    format: 'FITS',
    exposureS: 30,
    startTime: '2024-05-06T21:22:23.500Z',
    pixelSizeUm: 3.76,
    focalLengthMm: 750,
    apertureMm: 150,
    obstruction: null,
    gainElectronsPerAdu: 0.25,
    focusPosition: 12345,
    temperatureC: -10,
    imageType: 'Light Frame',
    pointing: null,
  } satisfies FrameMeta);
});

test('a bare header: everything null, no warning', async () => {
  const { meta, warnings, mosaic } = await withCards();
  expect(Object.values(meta).filter((value) => value !== null)).toEqual(['FITS']);
  expect(warnings).toEqual([]);
  expect(mosaic).toBe(null);
});

/** Cards, the field, its value, and what is warned of (null: nothing). */
const CASES: [string, string[], keyof FrameMeta, number | string | null, RegExp | null][] = [
  ['EXPOSURE where EXPTIME is missing', [card('EXPOSURE', 5)], 'exposureS', 5, null],
  [
    'EXPOSURE where EXPTIME is silly',
    [card('EXPTIME', -1), card('EXPOSURE', 5)],
    'exposureS',
    5,
    /EXPTIME is -1/,
  ],
  ['both, differing', [card('EXPTIME', 5), card('EXPOSURE', 5000)], 'exposureS', 5, /differ/],
  ['twice, differing', [card('EXPTIME', 5), card('EXPTIME', 6)], 'exposureS', 5, /twice/],
  ['an absurd exposure', [card('EXPTIME', 1e9)], 'exposureS', null, /1000000000/],
  ['an exposure that is text', [card('EXPTIME', 'long')], 'exposureS', null, /long/],
  ['a quoted number', [card('EXPTIME', '2.5')], 'exposureS', 2.5, null],
  ['an undefined one', ['EXPTIME ='], 'exposureS', null, null],
  ['no focal length given as 0', [card('FOCALLEN', 0)], 'focalLengthMm', null, /FOCALLEN is 0/],
  ['EGAIN before GAIN', [card('GAIN', 100, 'e-/ADU'), card('EGAIN', 0.5)], 'gainElectronsPerAdu', 0.5, null],
  ['GAIN without a unit is a setting', [card('GAIN', 100)], 'gainElectronsPerAdu', null, null],
  ['GAIN with its unit', [card('GAIN', 1.9, 'electrons/adu')], 'gainElectronsPerAdu', 1.9, null],
  ['GAIN with its unit in brackets', [card('GAIN', 1.9, '[e-/ADU] gain')], 'gainElectronsPerAdu', 1.9, null],
  ['FOCPOS', [card('FOCPOS', 321)], 'focusPosition', 321, null],
  ['kelvin', [card('CCD-TEMP', 180.2)], 'temperatureC', null, /CCD-TEMP/],
  ['a dark', [card('IMAGETYP', 'Dark Frame')], 'imageType', 'Dark Frame', /Dark Frame.*no stars/],
  ['a stack', [card('IMAGETYP', 'Master Light')], 'imageType', 'Master Light', /several exposures.*raw/],
  ['a stack of known size', [card('NCOMBINE', 12)], 'imageType', null, /12 exposures/],
  ['binned, nothing to check by', [card('XPIXSZ', 7.6), card('XBINNING', 2)], 'pixelSizeUm', 7.6, /15.2/],
  [
    'binned, the image scale says after binning', // 206.265 * 7.6 / 1000 = 1.5676
    [card('XPIXSZ', 7.6), card('XBINNING', 2), card('FOCALLEN', 1000), card('PIXSCALE', 1.57)],
    'pixelSizeUm',
    7.6,
    null,
  ],
  [
    'binned, the image scale says before binning', // 206.265 * 2 * 3.8 / 1000 = 1.5676
    [card('XPIXSZ', 3.8), card('XBINNING', 2), card('FOCALLEN', 1000), card('PIXSCALE', 1.57)],
    'pixelSizeUm',
    7.6,
    null,
  ],
  [
    'pixels that are not square',
    [card('XPIXSZ', 8.6), card('YPIXSZ', 8.3)],
    'pixelSizeUm',
    8.6,
    /not square/,
  ],
  ['a pixel of a metre', [card('XPIXSZ', 1e6)], 'pixelSizeUm', null, /XPIXSZ/],
  ['DD/MM/YY', [card('DATE-OBS', '29/11/51')], 'startTime', '1951-11-29T00:00:00.000Z', null],
  [
    'date and time apart',
    [card('DATE-OBS', '2018-08-17'), card('TIME-OBS', '03:38:28')],
    'startTime',
    '2018-08-17T03:38:28.000Z',
    null,
  ],
  [
    'a time zone',
    [card('DATE-OBS', '2017-12-19T19:51:12.162-0700')],
    'startTime',
    '2017-12-20T02:51:12.162Z',
    null,
  ],
  ['no date', [card('DATE-OBS', 'yesterday')], 'startTime', null, /yesterday/],
  ['the 31st of February', [card('DATE-OBS', '2024-13-31T00:00:00')], 'startTime', null, /no date/],
];

test.each(CASES)('%s', async (_, cards, field, value, warning) => {
  const { meta, warnings } = await withCards(...cards);
  expect(meta[field]).toBe(value);
  if (warning) expect(warnings.join('\n')).toMatch(warning);
  else expect(warnings).toEqual([]);
});

test('obstruction from the clear area: pi/4 D^2 (1 - e^2)', async () => {
  const clear = (Math.PI / 4) * 200 ** 2 * (1 - 0.3 ** 2);
  const { meta } = await withCards(card('APTDIA', 200), card('APTAREA', clear));
  expect(meta.obstruction).toBeCloseTo(0.3, 9);
  const full = await withCards(card('APTDIA', 200), card('APTAREA', (Math.PI / 4) * 200 ** 2));
  expect(full.meta.obstruction).toBe(null);
});

const mosaicWith = async (...cards: string[]) => (await withCards(...cards)).mosaic?.pattern.join('');

test('the mosaic at the stored (0, 0): the pattern moved by the parity of its offsets, whatever ROWORDER says', async () => {
  expect(await mosaicWith(card('BAYERPAT', 'RGGB'))).toBe('RGGB');
  expect(await mosaicWith(card('BAYERPAT', 'rggb'), card('XBAYROFF', 1))).toBe('GRBG');
  expect(await mosaicWith(card('BAYERPAT', 'RGGB'), card('YBAYROFF', 1))).toBe('GBRG');
  expect(await mosaicWith(card('BAYERPAT', 'RGGB'), card('XBAYROFF', -1), card('YBAYROFF', 3))).toBe('BGGR');
  expect(await mosaicWith(card('BAYERPAT', 'GBRG'), card('ROWORDER', 'BOTTOM-UP'))).toBe('GBRG');
  expect(await mosaicWith(card('BAYERPAT', 'GBRG'), card('ROWORDER', 'TOP-DOWN'))).toBe('GBRG');
  expect(await mosaicWith(card('FILTER', 'RGGB'))).toBe(undefined);
});

test('an unknown pattern is told of', async () => {
  const { mosaic, warnings } = await withCards(card('BAYERPAT', 'XTRANS'));
  expect(mosaic).toBe(null);
  expect(warnings.join()).toMatch(/XTRANS.*monochrome/);
});

test('where the header is not clear, the other value that it may mean is told', async () => {
  const doubtsOf = async (...cards: string[]) => (await decodedFrom(u16File(40, 40, PIXELS, cards))).doubts;
  expect(await doubtsOf(card('XPIXSZ', 3.8), card('XBINNING', 2))).toMatchObject([
    { about: 'pixelSizeUm', used: 3.8, instead: 7.6 },
  ]);
  expect(await doubtsOf(card('EXPTIME', 5), card('EXPOSURE', 5000))).toMatchObject([
    { about: 'exposureS', used: 5, instead: 5000 },
  ]);
  expect(await doubtsOf(card('EXPTIME', 5))).toEqual([]);
});

test('a frame whose pixels run from 0 to 1 has been through a program', async () => {
  const values = Float32Array.from({ length: 40 * 40 }, (_, i) => (i % 997) / 1000);
  const bytes = new Uint8Array(values.length * 4);
  values.forEach((value, i) => new DataView(bytes.buffer).setFloat32(4 * i, value));
  const { warnings } = await frameOf(joined(header(imageCards(-32, [40, 40])), padded(bytes)));
  expect(warnings.join()).toMatch(/brighter than 1.*raw exposure/);
});
