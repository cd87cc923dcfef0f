import { expect, test } from 'vitest';
import type { PolarError } from '../../workers/protocol/series.ts';
import { polarText } from '../../src/night/polar-words.ts';

const polar = (hourAngleH: number, value: number, sigma = 0.1): PolarError => ({
  hourAngleH,
  declinationDeg: 20,
  latitudeDeg: 60,
  combinationArcmin: { value, sigma },
  highArcmin: null,
  eastArcmin: null,
  refractionArcsecPerMin: null,
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
