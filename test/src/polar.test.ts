import { describe, expect, test } from 'vitest';
import type { KeptDrift } from '../../src/keep/run-shelf.ts';
import { NO_POLAR } from '../../src/keep/run-shelf.ts';
import { fromTwoFields, placedAt, typedDrift } from '../../src/polar/fields.ts';
import {
  caveats,
  driftText,
  hourAngleText,
  lacksText,
  polarText,
  screwLines,
} from '../../src/polar/words.ts';

const polar = (hourAngleH: number, value: number, sigma = 0.1) => ({
  hourAngleH,
  latitudeDeg: 60,
  combinationArcmin: { value, sigma },
});

// high sin H + east cos(latitude) cos H, as the handbook of formulas has it (7.2); cos 60° is a half.
test.each([
  [
    'on the meridian: east alone, twice the number',
    polar(0, 3),
    /points 6\.0 ± 0\.2 arc minutes too far east/,
  ],
  ['on the meridian, negative: west', polar(0, -3), /points 6\.0 ± 0\.2 arc minutes too far west/],
  ['six hours west of it: the height alone', polar(6, 3), /points 3\.00 ± 0\.10 arc minutes too high/],
  ['six hours east of it: the sign turns', polar(-6, 3), /points 3\.00 ± 0\.10 arc minutes too low/],
  [
    'between: sin 45° and half of cos 45°',
    polar(3, 3),
    /0\.71 of what it points too high and 0\.35 .* far east/,
  ],
  ['nothing that shows', polar(3, 0.1), /shows no error .*0\.10 ± 0\.10 arc minutes/],
])('%s', (_, of, says) => expect(polarText(of)).toMatch(says));

const drift = (
  value: number,
  hourAngleH: number | null,
  declinationDeg: number | null = null,
): KeptDrift => ({
  decArcsecPerMin: { value, sigma: 0.01 },
  midTimeMs: Date.UTC(1987, 3, 10, 19, 21),
  hourAngleH,
  declinationDeg,
});
const NOWHERE = NO_POLAR.here;

describe('where a field stood', () => {
  test('a typed hour angle wins over a right ascension, that over the files', () => {
    // Greenwich, 1987 April 10, 19:21 UT: sidereal time 8h 34m 57.09s (Meeus 1998, example 12.b).
    const rightAscensionH = 8 + 34 / 60 + 57.09 / 3600 - 2;
    const own = drift(1, -4, 10);
    expect(placedAt(own, { ...NOWHERE, rightAscensionH }, 0).hourAngleH).toBeCloseTo(2, 4);
    expect(placedAt(own, { ...NOWHERE, rightAscensionH }, null).hourAngleH).toBe(-4);
    expect(placedAt(own, { ...NOWHERE, rightAscensionH, hourAngleH: 1 }, 0).hourAngleH).toBe(1);
    expect(placedAt(own, { ...NOWHERE, declinationDeg: -5 }, 0)).toMatchObject({
      hourAngleH: -4,
      declinationDeg: -5,
    });
  });
  test('in words', () => {
    expect(hourAngleText(-2.345)).toBe('2 h 21 min east of the meridian');
    expect(hourAngleText(6)).toBe('6 h west of the meridian');
    expect(hourAngleText(0.002)).toBe('on the meridian');
    expect(driftText(drift(-0.53, 0))).toMatch(/^0\.530 ± 0\.010″ a minute to the south$/);
  });
});

describe('two fields on the page', () => {
  const here = drift(0.26252 * 3, -6);
  const there = drift(-0.16874 * 5, 0);
  const found = (...of: Parameters<typeof fromTwoFields>) => {
    const answer = fromTwoFields(...of);
    if (!answer.found) throw new Error(lacksText(answer));
    return answer;
  };

  test('handbook 7.2 at 50°: 3 arc minutes too high, 5 too far east', () => {
    const answer = found(here, there, 50);
    expect(answer.axis.highArcmin.value).toBeCloseTo(3, 3);
    expect(answer.axis.eastArcmin.value).toBeCloseTo(5, 3);
    expect(answer.growth).toBeCloseTo(1, 9);
    expect(answer.errorUntold).toBe(false);
    expect(caveats(answer).join(' ')).toMatch(/Refraction is in these.*gives way/s);
  });
  test('refraction is taken off where both declinations are known, and told', () => {
    const bare = found(here, there, 50);
    const answer = found({ ...here, declinationDeg: 30 }, { ...there, declinationDeg: 30 }, 50);
    // A star that rises is lifted less and less, so it runs south as under an axis that is too low. 58.2" tan z (handbook
    // 8.3) along its vertical circle, taken half a degree to either side: 0.855" a minute, which is 3.26'.
    expect(answer.refraction!.highArcmin.value).toBeLessThan(-2.9);
    expect(answer.refraction!.highArcmin.value).toBeGreaterThan(-3.6);
    for (const key of ['highArcmin', 'eastArcmin'] as const)
      expect(answer.axis[key].value).toBeCloseTo(bare.axis[key].value - answer.refraction![key].value, 9);
    // The air is known to a tenth, and on the meridian it moves nothing north or south.
    expect(answer.axis.highArcmin.sigma).toBeGreaterThan(0.3);
    expect(answer.axis.eastArcmin.sigma).toBeCloseTo(bare.axis.eastArcmin.sigma, 9);
    expect(caveats(answer).join(' ')).toMatch(/taken off: .* 3\.\d′ too low.*gives way/s);
  });
  test('what is missing is asked for, one thing at a time; too near is refused', () => {
    const said = (...of: Parameters<typeof fromTwoFields>) => {
      const answer = fromTwoFields(...of);
      return answer.found ? 'found' : lacksText(answer);
    };
    expect(said(here, there, null)).toMatch(/latitude/);
    expect(said(drift(1, null), there, 50)).toMatch(/this field stand/);
    expect(said(here, null, 50)).toMatch(/choose the run/);
    expect(said(here, drift(1, null), 50)).toMatch(/other field stand/);
    expect(said(here, drift(1, -5.4), 50)).toMatch(/only 0\.6 hours .* apart/);
    expect(said(here, drift(1, 5.7), 50)).toMatch(/11\.7 hours .* opposite/);
    expect(said(here, there, 50)).toBe('found');
  });
  test('a typed drift, and its error where it was told', () => {
    const typed = { arcsecPerMin: 0.8437, errorArcsecPerMin: null, towards: 'south' as const };
    expect(typedDrift(NO_POLAR)).toBeNull();
    const other = typedDrift({ ...NO_POLAR, typed })!;
    const answer = found(here, placedAt(other, { ...NOWHERE, hourAngleH: 0 }, null), 50);
    expect(answer.axis.eastArcmin.value).toBeCloseTo(5, 2);
    expect(answer.errorUntold).toBe(true);
    expect(answer.refraction).toBeNull();
    expect(caveats(answer).join(' ')).toMatch(/not told/);
  });
});

describe('which screw, which way', () => {
  const axis = (high: number, east: number) => ({
    highArcmin: { value: high, sigma: 0.5 },
    eastArcmin: { value: east, sigma: 0.5 },
  });
  // Elementary: whoever faces north has the east on the right hand, whoever faces south on the left.
  test.each([
    ['north, too far east: left', 50, axis(4, 7), /Lower it/, /goes west: to the left .* north pole/],
    ['north, too far west: right', 50, axis(-4, -7), /Raise it/, /goes east: to the right .* north pole/],
    ['south, too far east: right', -33, axis(4, 7), /Lower it/, /goes west: to the right .* south pole/],
    ['south, too far west: left', -33, axis(-4, -7), /Raise it/, /goes east: to the left .* south pole/],
    ['no larger than its error: leave it', 50, axis(0.4, -0.9), /Leave the altitude/, /Leave the azimuth/],
  ])('%s', (_, latitudeDeg, errors, height, azimuth) => {
    const lines = screwLines(errors, latitudeDeg);
    expect(lines.map(({ screw }) => screw)).toEqual(['height', 'azimuth']);
    expect(lines[0].doThis).toMatch(height);
    expect(lines[1].doThis).toMatch(azimuth);
  });
});
