import { expect, test } from 'vitest';
import type { ColourSummary } from '../../workers/protocol/api.ts';
import { colourSentences } from '../../src/story/colours.ts';

const SENSOR = { widthPx: 1936, heightPx: 1096 };
const SCALE = { arcsecPerPx: 1.2, umPerPx: null };
const channel = (fwhmPx: number | null, hfdPx = 3) => ({
  stars: 50,
  fwhmPx: fwhmPx === null ? null : { value: fwhmPx, sigma: 0.01 },
  hfdPx: { value: hfdPx, sigma: 0.01 },
});
const colour = (more: Partial<ColourSummary> = {}): ColourSummary => ({
  red: channel(2.5),
  green: channel(2.5),
  blue: channel(2.5),
  redMinusBluePx: { x: { value: 0, sigma: 0.01 }, y: { value: 0, sigma: 0.01 } },
  lateralPerPx: { value: 0, sigma: 1e-5 },
  ...more,
});
const said = (more?: Partial<ColourSummary>, unit: 'px' | 'arcsec' = 'px') =>
  colourSentences(colour(more), SENSOR, unit, SCALE).join('\n');

test('equal colours on one place: nothing is wrong', () => {
  expect(said()).toMatch(
    /equally wide, to within 2.%.*\n.*same place, to within 0\.0[34].px.*\nTowards the corners red and blue do not part by more than 0\.03/,
  );
});

// Width as wavelength^-1/5 (handbook 5.2): 600 nm against 465 nm give 5.2 %.
test('the air makes blue stars a twentieth wider: no other focus', () => {
  const sentence = said({ blue: channel(2.5 * 1.052) });
  expect(sentence).toMatch(/Blue stars are 5.% wider.*air alone.*\(5.%\)/);
  expect(sentence).toMatch(/no sign that the colours differ/);
});

test('blue a fifth wider, or red wider at all, is another focus, and a mirror cannot do that', () => {
  expect(said({ blue: channel(3) })).toMatch(/Blue stars are 20.% wider.*do not share one focus.*mirror/);
  expect(said({ red: channel(2.8) })).toMatch(/Red stars are 11.% wider.*do not share one focus/);
});

test('rings have no width at half height: half-flux diameters stand in, and a few stars compare nothing', () => {
  expect(said({ red: channel(null, 8), blue: channel(null, 10) })).toMatch(/Blue stars are 25.% wider/);
  const none = { stars: 0, fwhmPx: null, hfdPx: null };
  expect(
    said({ red: none, green: none, blue: none, redMinusBluePx: { x: null, y: null }, lateralPerPx: null }),
  ).toMatch(/^Too few clean stars/);
});

test('a shift is told from red to blue, in the unit asked for', () => {
  const redMinusBluePx = { x: { value: 0, sigma: 0.01 }, y: { value: 0.5, sigma: 0.01 } };
  // Red half a pixel below blue: blue is above it, first row on top.
  expect(said({ redMinusBluePx })).toMatch(/blue light lies 0\.500 ± 0\.010.px from red, straight up/);
  expect(said({ redMinusBluePx }, 'arcsec')).toMatch(/0\.600 ± 0\.012.″ from red/);
});

test('lateral colour is told at the very corner', () => {
  const cornerPx = Math.hypot(1936, 1096) / 2;
  expect(said({ lateralPerPx: { value: -0.7 / cornerPx, sigma: 0.02 / cornerPx } })).toMatch(
    /blue lies farther out, by 0\.70 ± 0\.02/,
  );
});
