import { describe, expect, it } from 'vitest';
import type { FieldModel, FrameReport } from '../../workers/protocol/report.ts';
import type { RunPoint } from '../../workers/protocol/run.ts';
import { EXAMPLES } from '../../workers/rig/examples.ts';
import { EMPTY_SHEET, type RigSheet } from '../../workers/rig/sheet.ts';
import { blanksFilled, factsOf } from '../../src/rig/from-frame.ts';
import type { Plan } from '../../src/rig/plan.ts';
import { speed } from '../../src/rig/story/field.ts';
import { limits, windowSentence } from '../../src/rig/story/limits.ts';
import { expectedAgainstMeasured } from '../../src/rig/story/measured.ts';
import { coma } from '../../src/rig/story/optics.ts';
import { nextDayTold, nightOf } from '../../src/rig/story/next-day.ts';
import { correctorPlace, correctorShoulderMm, reach, waysOut } from '../../src/rig/story/reach.ts';
import { duration, told } from '../../src/rig/story/told.ts';

const plan: Plan = {
  comaLimitPx: 3,
  widerPercent: 10,
  otherRatio: 5,
  otherExposureS: 100,
  altitudeDeg: 45,
  declinationDeg: 0,
  trailLimitPx: 2,
  excessPercent: 5,
  subS: null,
  objectMagPerArcsec2: 22,
  snr: 5,
  barlow: 2,
};
const small = EXAMPLES[0];
const estimate = (value: number, sigma: number) => ({ value, sigma });

/** A report of a frame of the small rig whose fit found this coma. */
function reportWith(strength: number, x: number, y: number): FrameReport {
  const none = { x: null, y: null };
  const model: FieldModel = {
    chi2PerDof: 1,
    stars: 60,
    roundBlurFwhmPx: estimate(2.2, 0.05),
    focusUm: null,
    tiltUmPerMm: none,
    curvaturePerM: null,
    focusSignKnown: false,
    coma: {
      strength: estimate(strength, 0.03),
      constantUm: none,
      centreMm: { x: estimate(x, 0.1), y: estimate(y, 0.1) },
    },
    astigmatismUm: { cos: null, sin: null },
    astigmatismField: null,
    trefoilUm: { cos: null, sin: null },
    sphericalUm: null,
    motion: { path: 'none', lengthPx: null, angleDeg: null, minorityFraction: null },
    rotation: { angleDeg: null, centreMm: null },
    dispersionPx: none,
  };
  return {
    format: 1,
    file: 'a.fits',
    fault: null,
    warnings: [],
    frame: {
      widthPx: 1931,
      heightPx: 1103,
      mosaic: 'RGGB',
      exposureS: 10,
      pixelSizeUm: 2.9,
      focalLengthMm: 400,
      apertureMm: 100,
      obstruction: null,
      arcsecPerPx: 1.495,
    },
    stars: { detected: 100, measured: 90, saturated: 0 },
    sensor: { fwhmPx: null, hfdPx: null, elongation: null, angleDeg: null },
    regions: [],
    model,
    budget: null,
    causes: null,
    verdict: null,
  };
}

describe('numbers in words', () => {
  it('keeps three digits and drops zeros that say nothing', () => {
    expect([told(1234.5, 's'), told(64, 's'), told(37.79, 'µm'), told(0.0123, '″')]).toEqual([
      '1\u202f235\u202fs',
      '64\u202fs',
      '37.8\u202fµm',
      '0.012″',
    ]);
    expect([duration(90), duration(600), duration(9000)]).toEqual([
      '90\u202fs',
      '10\u202fmin',
      '2.50\u202fh',
    ]);
  });
});

describe('what follows', () => {
  it('says what is missing by the names of the sheet', () => {
    expect(coma({ ...EMPTY_SHEET, optics: 'paraboloid', apertureMm: 100 }, plan).missing).toEqual([
      'focal length',
      'sensor width',
      'sensor height',
      'pixel',
    ]);
    expect(reach(EMPTY_SHEET).missing).toEqual(['sensor behind front flange', 'focal plane above drawtube']);
  });
  it('tells the speed of f/4 against f/5 as 25/16', () => {
    expect(speed(small, plan).says[0]).toContain('1.56 times');
    expect(speed(small, plan).says[0]).toContain('100\u202fs there are 64\u202fs here');
  });
  it('claims no law where none is known', () => {
    expect(coma({ ...small, optics: 'corrected-reflector' }, plan).says[0]).toContain('no simple law');
  });
});

describe('ways out of a focus that is not reached', () => {
  const deep: RigSheet = { ...small, flangeDepthMm: 17.5 };
  it('names each with its number', () => {
    const ways = waysOut(deep, 2);
    // 14 + 0.684 - 2 - 17.5 = -4.816 mm (lengths and a plane plate, added by hand).
    expect(ways.join(' ')).toContain('“Push-in nosepiece” takes 2\u202fmm; even without it some is missing');
    // 4.816 / (1 - 1/1.5168) = 14.13 mm.
    expect(ways.join(' ')).toContain('14.1\u202fmm thick in all');
    expect(ways.join(' ')).toContain('f/4 becomes f/8');
  });
  it('does not propose to move a mirror that is fixed', () => {
    expect(waysOut(deep, 2).join(' ')).not.toContain('Move the main mirror');
    const free = waysOut({ ...deep, fixed: { ...deep.fixed, primary: false } }, 2).join(' ');
    expect(free).toContain('Move the main mirror up the tube by 4.82\u202fmm');
    // (95 + 4.816) · 100 / 400 = 24.95 mm.
    expect(free).toContain('25\u202fmm wide at the secondary');
  });
});

describe('limits on one sub', () => {
  it('leaves a window where there is one, and says so where there is none', () => {
    const window = windowSentence([
      { name: 'sky', seconds: 20, side: 'from' },
      { name: 'drift', seconds: 60, side: 'up-to' },
    ]);
    expect(window[0]).toContain('Subs between 20\u202fs and 60\u202fs');
    const none = windowSentence([
      { name: 'sky', seconds: 90, side: 'from' },
      { name: 'drift', seconds: 60, side: 'up-to' },
    ]);
    expect(none[0]).toContain('The sky asks for 90\u202fs, the mount allows 60\u202fs');
  });
  it('knows a mount at rest', () => {
    // 2 px of 1.495″ at 15.041″ per second: 0.199 s (elementary).
    const [trail] = limits({ ...small, following: 'none' }, plan, null).filter(({ name }) =>
      name.includes('rest'),
    );
    expect(trail.seconds).toBeCloseTo((2 * 206.264806 * 2.9) / 400 / 15.0410672, 5);
  });
  it('shows the sky with and without the filter', () => {
    const narrow = limits({ ...small, filterBandNm: 7 }, plan, null).filter(({ side }) => side === 'from');
    expect(narrow).toHaveLength(2);
    // The sky's light goes with the band: 400 nm open against 7 nm.
    expect(narrow[0].seconds / narrow[1].seconds).toBeCloseTo(400 / 7, 6);
  });
});

describe('expected against measured', () => {
  it('takes coma as strong as a bare mirror’s for the mirror’s own', () => {
    const { says } = expectedAgainstMeasured(small, reportWith(1.02, 0.2, -0.1), plan);
    expect(says[0]).toContain('it is the mirror’s own');
    expect(says[1]).toContain('0.20 mm right and 0.10 mm up');
    // 16 F² / 3 · 8.7 µm = 0.742 mm (Schroeder, Astronomical Optics, ch. 5-6).
    expect(says.at(-1)).toContain('0.74\u202fmm of that node');
  });
  it('tells a node off the sensor with its place', () => {
    const { says } = expectedAgainstMeasured(small, reportWith(1, -6, 4), plan);
    expect(says[1]).toContain('off the sensor: 6.00 mm left and 4.00 mm down');
  });
  it('keeps silent about a frame of another rig', () => {
    const other = { ...small, focalLengthMm: 750 };
    expect(expectedAgainstMeasured(other, reportWith(1, 0, 0), plan).says[0]).toContain('other optics');
    expect(expectedAgainstMeasured(small, null, plan).says[0]).toContain('Open a frame');
  });
});

describe('from a frame', () => {
  it('fills blanks and leaves what was told', () => {
    const facts = factsOf(reportWith(1, 0, 0).frame!);
    expect(facts).toMatchObject({
      sensorWidthMm: 5.6,
      sensorHeightMm: 3.199,
      colour: 'mosaic',
      obstruction: null,
    });
    expect(blanksFilled({ ...EMPTY_SHEET, focalLengthMm: 410 }, facts)).toEqual({
      apertureMm: 100,
      pixelSizeUm: 2.9,
      sensorWidthMm: 5.6,
      sensorHeightMm: 3.199,
      colour: 'mosaic',
    });
  });
});

describe('a corrector’s place', () => {
  const sheet: RigSheet = {
    ...EMPTY_SHEET,
    focusHeightMm: 60,
    focuserTravelMm: 50,
    flangeDepthMm: 17.5,
    correctorDistanceMm: 55,
    adapters: [{ name: 'ring', lengthMm: 20 }],
  };
  it('follows from the lengths, at focus', () => {
    // By hand: sensor 20 + 17.5 = 37.5 mm above the drawtube's end, the shoulder 55 mm before it: 17.5 mm below the end.
    expect(correctorShoulderMm(sheet)).toBeCloseTo(-17.5, 10);
    expect(correctorPlace(sheet).says.join(' ')).toMatch(/37\.5\u202fmm of metal.*17\.5\u202fmm below/);
    // 3 mm of index 1.5 stretch the way from shoulder to sensor by t(1 - 1/n) = 1 mm (plane plate, textbook).
    expect(correctorShoulderMm({ ...sheet, filterThicknessMm: 3, filterIndex: 1.5 })).toBeCloseTo(-18.5, 10);
    const none = { ...sheet, fixed: { ...sheet.fixed, corrector: true } };
    expect(correctorShoulderMm(none)).toBe(null);
  });
});

describe('a measured run', () => {
  const longest = {
    limitPx: 2,
    share50: estimate(80, 4),
    share90: estimate(40, 3),
    share95: estimate(30, 3),
  };
  it('is a limit of its own, and wins over what the sheet foretells', () => {
    const found = limits(small, plan, 5, longest);
    const seen = found.find(({ name }) => name.startsWith('measured run'))!;
    expect(seen).toMatchObject({ seconds: 40, side: 'up-to' });
    expect(seen.name).toContain('nine of ten subs trail less than 2\u202fpx');
    expect(windowSentence(found)[0]).toContain('40\u202fs');
    expect(limits(small, plan, 5, null).some(({ name }) => name.startsWith('measured run'))).toBe(false);
  });
  const point = (exposureS: number | null) => ({ exposureS }) as RunPoint;
  const run = {
    points: [...Array.from({ length: 100 }, () => point(60)), point(null)],
    kept: [...Array.from({ length: 80 }, () => true), ...Array.from({ length: 21 }, () => false)],
  };
  it('tells the day after what is worth keeping, what is reached and what is missing', () => {
    expect(nightOf(run)).toEqual({ taken: 101, kept: 80, takenS: 6000, keptS: 4800 });
    const sheet = { ...small, readNoiseElectrons: 1.5, skyMagPerArcsec2: 20 };
    const wish = { ...plan, objectMagPerArcsec2: 24, snr: 5 };
    const { says } = nextDayTold(sheet, wish, 2, run);
    expect(says[0]).toBe('80 of 101 subs are worth keeping: 80\u202fmin of light, 20\u202fmin are lost.');
    // By hand: S = 2 · 10^(-0.4·4) = 0.050238; S + B + R²/t = 2.087738; SNR = S √(4800 / 2.087738) = 2.409;
    // T = 25 · 2.087738 / S² = 20 680 s = 5.74 h; missing 15 880 s = 4.41 h.
    expect(says[1]).toMatch(/stands at 2\.41 times.*takes 5\.74\u202fh, so 4\.41\u202fh are missing/);
    // A sky one magnitude darker: (S + 0.3981 · 2 + ...)/... = 0.42 of it; that beats losing no sub (0.8).
    expect(says[2]).toContain('a sky one magnitude darker');
    expect(nextDayTold(sheet, { ...wish, snr: 2 }, 2, run).says[1]).toContain('is reached');
    expect(nextDayTold(sheet, wish, null, run).says[1]).toContain('With read noise, sky and gain told');
    expect(nextDayTold(sheet, wish, 2, null).says[0]).toContain('Give the night’s frames');
  });
});
