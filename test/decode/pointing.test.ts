// World coordinates against astropy 5.2.1 (astropy.wcs.WCS; directions by finite steps of 1e-4 degrees from the reference
// point), for frames of 64 x 48 pixels.
import { expect, test } from 'vitest';
import { card, decodedFrom, frameOf, u16File } from './fits-file.ts';

const PIXELS = new Uint16Array(64 * 48).fill(1000);
const withCards = (...cards: string[]) => frameOf(u16File(64, 48, PIXELS, cards));
const RA_DEC = [card('CTYPE1', 'RA---TAN'), card('CTYPE2', 'DEC--TAN')];

interface Expected {
  rightAscensionDeg: number;
  declinationDeg: number;
  northDeg: number;
  eastDeg: number;
  arcsecPerPx: number;
}
const CASES: [string, Record<string, number>, Expected][] = [
  [
    'a CD matrix, turned and mirrored',
    {
      CRVAL1: 83.82,
      CRVAL2: -5.39,
      CRPIX1: 10.5,
      CRPIX2: 70,
      CD1_1: 2.1e-4,
      CD1_2: 1.2e-4,
      CD2_1: -1.2e-4,
      CD2_2: 2.1e-4,
    },
    {
      rightAscensionDeg: 83.81915625239478,
      declinationDeg: -5.40219499923354,
      northDeg: 119.7448812969422,
      eastDeg: 29.744876579313416,
      arcsecPerPx: 0.8707238368162438,
    },
  ],
  [
    'CDELT and CROTA2',
    { CRVAL1: 359.99, CRVAL2: 61.2, CRPIX1: 400, CRPIX2: -300, CDELT1: -3e-4, CDELT2: 3e-4, CROTA2: 23.5 },
    {
      rightAscensionDeg: 0.11984257529616116,
      declinationDeg: 61.3331757166401,
      northDeg: 113.50000000000321,
      eastDeg: -156.5000909489352,
      arcsecPerPx: 1.08,
    },
  ],
  [
    'CDELT and PC',
    {
      CRVAL1: 10.6847,
      CRVAL2: 41.269,
      CRPIX1: 32.5,
      CRPIX2: 24.5,
      CDELT1: -2e-4,
      CDELT2: 2e-4,
      PC1_1: 0.6,
      PC1_2: -0.8,
      PC2_1: 0.8,
      PC2_2: 0.6,
    },
    {
      rightAscensionDeg: 10.6847,
      declinationDeg: 41.269,
      northDeg: 36.869897645843864,
      eastDeg: 126.86985376730948,
      arcsecPerPx: 0.72,
    },
  ],
  [
    'near the pole',
    { CRVAL1: 12, CRVAL2: 89.5, CRPIX1: 900, CRPIX2: 20, CD1_1: -4e-4, CD1_2: 0, CD2_1: 0, CD2_2: 4e-4 },
    {
      rightAscensionDeg: 46.857836499238125,
      declinationDeg: 89.39287047417237,
      northDeg: 90,
      eastDeg: 179.9942705675084,
      arcsecPerPx: 1.44,
    },
  ],
];

test.each(CASES)('%s', async (_, cards, want) => {
  const written = Object.entries(cards).map(([keyword, value]) => card(keyword, value));
  const pointing = (await withCards(...RA_DEC, ...written)).meta.pointing!;
  expect(pointing.orientationFrom).toBe('world-coordinates');
  for (const [key, value] of Object.entries(want))
    // Near the pole a finite step bends: the direction itself is good to a hundredth of a degree.
    expect(Math.abs(pointing[key as keyof Expected]! - value), key).toBeLessThan(
      key.endsWith('stDeg') ? 0.01 : 1e-7,
    );
});

test('what camera programs write: text in hours and degrees, numbers in degrees', async () => {
  const { meta } = await withCards(
    card('OBJCTRA', '05 35 17.3'),
    card('OBJCTDEC', '-05 23 28'),
    card('SITELAT', '+47 30 00'),
    card('SITELONG', '-122.5'),
    card('PIERSIDE', 'WEST'),
  );
  // 5 h 35 min 17.3 s = 83.82208 degrees; -5 degrees 23' 28" = -5.39111 degrees.
  expect(meta.pointing!.rightAscensionDeg).toBeCloseTo(83.822083, 6);
  expect(meta.pointing!.declinationDeg).toBeCloseTo(-5.391111, 6);
  expect(meta.pointing).toMatchObject({
    latitudeDeg: 47.5,
    longitudeDeg: -122.5,
    pierSide: 'west',
    northDeg: null,
    arcsecPerPx: null,
  });
});

test('what makes no sense is left out', async () => {
  const { meta } = await withCards(
    card('RA', 'north'),
    card('DEC', 95),
    card('PIERSIDE', 'top'),
    ...RA_DEC,
    card('CD1_1', 0),
  );
  expect(meta.pointing).toBe(null);
});

test('star positions that contradict pixel size and focal length are told of, with the focal length that they mean', async () => {
  const solved = [...RA_DEC, card('CDELT1', -3e-4), card('CDELT2', 3e-4)];
  const cards = (focal: number) => [...solved, card('XPIXSZ', 3.8), card('FOCALLEN', focal)];
  // 206.264806 * 3.8 / 1.08 = 725.7
  const wrong = await decodedFrom(u16File(64, 48, PIXELS, cards(1000)));
  expect(wrong.frame.warnings.join()).toMatch(/1\.08 arcsec.*0\.784 arcsec.*726 mm/);
  expect(wrong.doubts).toMatchObject([{ about: 'focalLengthMm', used: 1000, instead: 726 }]);
  const right = await decodedFrom(u16File(64, 48, PIXELS, cards(725)));
  expect(right.frame.warnings).toEqual([]);
  expect(right.doubts).toEqual([]);
});
