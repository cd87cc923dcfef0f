import { describe, expect, test } from 'vitest';
import type { FieldFit } from '../../workers/fit/field-fit.ts';
import { P, PARAMETER_COUNT } from '../../workers/fit/parameters.ts';
import type { Group, ParameterName, PathKind } from '../../workers/fit/parameters.ts';
import { UNKNOWN_RIG, type Following, type OpticsKind } from '../../workers/protocol/rig.ts';
import { otherStory } from '../../workers/verdict/other-story.ts';
import { roundCircle } from '../../workers/verdict/round-circle.ts';
import type { PlainLook } from '../../workers/verdict/plain/plain-look.ts';
import { fitOf } from '../support/fit-of.ts';
import { verdictOf } from '../../workers/verdict/verdict.ts';

const frame = {
  widthPx: 1200,
  heightPx: 800,
  mosaic: null,
  exposureS: 30,
  pixelSizeUm: 3.8,
  focalLengthMm: 600,
  apertureMm: 120,
  obstruction: 0.3,
  arcsecPerPx: 1.3,
};
const nothing = { fwhmPx: null, hfdPx: null, elongation: null, angleDeg: null };
const judge = (fit: FieldFit, rig = UNKNOWN_RIG) => verdictOf(fit, { frame, sensor: nothing }, rig);

describe('names of causes (rules of the report)', () => {
  test('coma is collimation once its node lies beyond a quarter of the half-diagonal', () => {
    expect(judge(fitOf({ comaField: 3, comaX: 0.6 }, ['comaField', 'comaConstant'])).verdict.cause).toBe(
      'coma',
    );
    expect(judge(fitOf({ comaField: 3, comaX: 0.9 }, ['comaField', 'comaConstant'])).verdict.cause).toBe(
      'collimation',
    );
    expect(judge(fitOf({ comaX: 3 }, ['comaConstant'])).verdict.cause).toBe('collimation');
  });

  test('a motion that turns about a point within reach is a rotation, one that does not is a trail', () => {
    expect(judge(fitOf({ rotation: 8, motionX: 3 }, ['motion', 'rotation'])).verdict.cause).toBe('rotation');
    expect(judge(fitOf({ motionX: 8 }, ['motion'])).verdict.cause).toBe('trailing');
  });

  test('a curvature that the focus takes back in the corners counts by what is left of both (a spot is as wide as its whole defocus)', () => {
    // At the corners (one half-diagonal) the curvature's -4 and the focus' 2.5 leave -1.5 of defocus.
    const cancelled = fitOf({ focus: 2.5, curvature: -4, astigmatism0: 3 }, [
      'focus',
      'curvature',
      'astigmatism',
    ]);
    expect(judge(cancelled).verdict.cause).toBe('astigmatism');
    const alone = fitOf({ curvature: -4, astigmatism0: 3 }, ['focus', 'curvature', 'astigmatism']);
    expect(judge(alone).verdict.cause).toBe('curvature');
  });

  test('astigmatism of half the defocus goes before it: refocusing would not cure it', () => {
    const { verdict } = judge(fitOf({ focus: 3, astigmatism0: 2.4 }, ['focus', 'astigmatism']));
    expect(verdict.cause).toBe('astigmatism');
  });
});

describe('how sure', () => {
  test('a rival that costs little more: below 0.9, and the frame that decides is named', () => {
    const rival = fitOf({ astigmatism0: 2 }, ['astigmatism']);
    const { verdict } = judge(
      fitOf({ motionX: 8 }, ['motion'], {
        rivals: [{ groups: ['astigmatism'], path: 'none', theta: rival.theta, gap: 8, atLeast: false }],
      }),
    );
    expect(verdict.confidence).toBeLessThan(0.9);
    expect(verdict.decider).toMatchObject({
      experiment: 'halve-exposure',
      between: ['trailing', 'astigmatism'],
    });
  });

  test('a rival that leans on the same cause takes nothing away', () => {
    const own = fitOf({ comaX: 3 }, ['comaConstant']);
    const contested = (values: Parameters<typeof fitOf>[0]) => {
      const { theta } = fitOf(values, []);
      const groups: Group[] = ['comaConstant', 'astigmatism'];
      return judge({ ...own, rivals: [{ groups, path: 'none', theta, gap: 3, atLeast: false }] }).verdict;
    };
    expect(contested({ comaX: 2.8, astigmatism0: 0.5 }).confidence).toBeGreaterThan(0.9);
    const other = contested({ comaX: 0.5, astigmatism0: 3 });
    expect(other.confidence).toBeLessThan(0.9);
    expect(other.decider).not.toBeNull();
  });

  test('round stars that may hide a curved focal surface: clean, but not surely, and the frame that decides', () => {
    const hiding = (gap: number) => {
      const { theta } = fitOf({ curvature: 2.5, focus: -0.6 }, []);
      const groups: Group[] = ['focus', 'curvature'];
      return judge(fitOf({}, [], { rivals: [{ groups, path: 'none', theta, gap, atLeast: false }] }), {
        ...UNKNOWN_RIG,
        usualSeeingArcsec: 3.1,
      }).verdict;
    };
    expect(hiding(13)).toMatchObject({ cause: 'clean', decider: { between: ['clean', 'curvature'] } });
    expect(hiding(13).confidence).toBeLessThan(0.9);
    expect(hiding(5000)).toMatchObject({ cause: 'clean', decider: null });
  });

  test('residuals that stars share take away what statistics promise', () => {
    const sure = judge(fitOf({ comaX: 3 }, ['comaConstant'])).verdict.confidence;
    const unsure = judge(fitOf({ comaX: 3 }, ['comaConstant'], { coherence: 0.12 })).verdict.confidence;
    expect(sure).toBeGreaterThan(0.95);
    expect(unsure).toBeLessThan(0.6);
  });

  test('seeing is told from clean by what the site usually gives', () => {
    const round = fitOf({}, []);
    const usual = (usualSeeingArcsec: number) =>
      judge(round, { ...UNKNOWN_RIG, usualSeeingArcsec }).verdict.cause;
    expect(usual(3)).toBe('clean');
    expect(usual(1.8)).toBe('seeing');
  });
});

describe('what to do', () => {
  test('a focuser at its stop is never told to go further in', () => {
    const rig = { ...UNKNOWN_RIG, fixed: { ...UNKNOWN_RIG.fixed, focuserAtStop: true } };
    for (const move of judge(fitOf({ focus: 4 }, ['focus']), rig).verdict.next)
      expect(move.do).toMatch(/outwards/);
  });

  test('spacing is spoken of only where there is a corrector', () => {
    const curved = fitOf({ curvature: -4 }, ['curvature']);
    const coma = fitOf({ comaField: 4 }, ['comaField']);
    const words = (fit: FieldFit, optics: OpticsKind | null) =>
      judge(fit, { ...UNKNOWN_RIG, optics })
        .verdict.next.map((move) => move.do)
        .join(' ');
    for (const fit of [curved, coma]) {
      expect(words(fit, null)).not.toMatch(/spacing/i);
      expect(words(fit, 'paraboloid')).not.toMatch(/spacing/i);
      expect(words(fit, fit === curved ? 'flattened-refractor' : 'corrected-reflector')).toMatch(/spacing/i);
    }
  });

  test('what the user cannot change is not possible, and is said to be so', () => {
    const rig = {
      ...UNKNOWN_RIG,
      fixed: { corrector: true, primary: true, tilt: true, focuserAtStop: false },
    };
    const corrector = judge(fitOf({ comaField: 4 }, ['comaField']), rig).verdict.next;
    expect(corrector.find(({ needs }) => needs === 'a coma corrector')?.when).toBe('not-possible');
    const open = judge(fitOf({ comaField: 4 }, ['comaField'])).verdict.next;
    expect(open.find(({ needs }) => needs === 'a coma corrector')?.when).toBe('daylight');
    const screws = judge(fitOf({ comaX: 4 }, ['comaConstant']), rig).verdict.next;
    expect(screws.map((move) => move.do).join(' ')).not.toMatch(/turn the mirror’s screws/);
    expect(judge(fitOf({ tiltX: 5 }, ['tilt']), rig).verdict.next.map((move) => move.needs)).not.toContain(
      'a tilt adjuster',
    );
  });

  test('an altazimuth mount is not told to align its polar axis', () => {
    const turning = fitOf({ rotation: 8 }, ['rotation']);
    const words = (following: Following) => judge(turning, { ...UNKNOWN_RIG, following }).verdict.next[0].do;
    expect(words('equatorial')).toMatch(/polar/);
    expect(words('altazimuth')).not.toMatch(/polar/);
  });

  test('the user’s own limit lets a known fault pass, and only up to there', () => {
    const soft = fitOf({ tiltX: 2.4 }, ['tilt']);
    const corners = judge(soft).budget.find(({ where }) => where === 'corners')!.variancePx2;
    const times = Math.sqrt(corners.total / (corners.roundBlur + corners.diffraction + corners.pixel));
    const cause = (goodEnough: number | null) => judge(soft, { ...UNKNOWN_RIG, goodEnough }).verdict;
    expect(cause(null).cause).toBe('tilt');
    expect(cause(times * 0.95).cause).toBe('tilt');
    expect(cause(times * 1.3)).toMatchObject({ cause: 'clean', family: 'none' });
    expect(cause(times * 1.3).headline).toMatch(/good enough.*leans/);
    expect(cause(times * 1.3).next[0].do).toMatch(/start the run/);
  });
});

describe('the circle that stays round', () => {
  test('at its edge coma has just reached the limit', () => {
    const fit = fitOf({ comaField: 3, comaX: 0.4, comaY: -0.3 }, ['comaField', 'comaConstant']);
    const limit = 0.05;
    const { radiusPx, centrePx, coversAll, radiusArcmin } = roundCircle(fit, limit)!;
    const halfDiagonalPx = Math.hypot(1199, 799) / 2;
    // Mean square of the coma spot's coordinates over a filled or annular pupil, centroid out: for spot
    // c (rho^2 - 2/3 + 2 u^2, 2 u v): the sum done here over a fine grid of the pupil, not by the closed form.
    const perUnit = comaSpotVariance(0.3);
    const at = (dx: number, dy: number) => {
      const x = (centrePx.x + dx) / halfDiagonalPx;
      const y = (centrePx.y + dy) / halfDiagonalPx;
      return perUnit * ((3 * x + 0.4) ** 2 + (3 * y - 0.3) ** 2);
    };
    expect(at(0, 0)).toBeLessThan(1e-6);
    for (const angle of [0, 1, 2, 4])
      expect(at(radiusPx * Math.cos(angle), radiusPx * Math.sin(angle)) / limit).toBeCloseTo(1, 2);
    expect(coversAll).toBe(false);
    // 3.8 um at 600 mm: 1.306 arc seconds a pixel.
    expect(radiusArcmin! / ((radiusPx * 1.3064) / 60)).toBeCloseTo(1, 3);
  });

  test('no coma that grows: no circle', () => {
    expect(roundCircle(fitOf({ comaX: 3 }, ['comaConstant']), 0.05)).toBeNull();
  });
});

/** Per-axis variance of the spot 2F grad W of W = C u (rho^2 - 2/3) per (2 F C)^2, over an annulus, by brute force. */
function comaSpotVariance(obstruction: number): number {
  const steps = 400;
  let [n, sx, sxx, syy] = [0, 0, 0, 0];
  for (let i = 0; i < steps; i++)
    for (let j = 0; j < steps; j++) {
      const u = ((i + 0.5) / steps) * 2 - 1;
      const v = ((j + 0.5) / steps) * 2 - 1;
      const rho2 = u * u + v * v;
      if (rho2 > 1 || rho2 < obstruction ** 2) continue;
      const x = rho2 - 2 / 3 + 2 * u * u;
      const y = 2 * u * v;
      n++;
      sx += x;
      sxx += x * x;
      syy += y * y;
    }
  return (sxx / n - (sx / n) ** 2 + syy / n) / 2;
}

describe('sentences', () => {
  test('every verdict says something to do, in whole sentences', () => {
    const fits = [
      fitOf({}, []),
      fitOf({ focus: 4 }, ['focus']),
      fitOf({ tiltX: 5 }, ['tilt']),
      fitOf({ curvature: 4 }, ['curvature']),
      fitOf({ comaField: 4 }, ['comaField']),
      fitOf({ comaX: 4 }, ['comaConstant']),
      fitOf({ astigmatism0: 4 }, ['astigmatism']),
      fitOf({ trefoil0: 4 }, ['trefoil']),
      fitOf({ motionX: 8 }, ['motion']),
      fitOf({ rotation: 8 }, ['rotation']),
    ];
    for (const fit of fits) {
      const { next, headline } = judge(fit).verdict;
      expect(next.length).toBeGreaterThan(0);
      for (const { do: text } of next) expect(text).toMatch(/^[A-Z].*\.$/);
      expect(headline).toMatch(/^[A-Z].*\.$/);
    }
  });
});

describe('the nearest explanation without a cause', () => {
  const values = { comaField: 3, motionX: 3, focus: 0.2 };
  const rival = (groups: Group[], gap: number) => {
    const theta = new Array<number>(PARAMETER_COUNT).fill(0);
    for (const [name, value] of Object.entries(values)) theta[P[name as ParameterName]] = value;
    return { groups, path: 'straight' as PathKind, theta, gap, atLeast: false };
  };
  const fit = fitOf(values, ['comaField', 'motion', 'focus'], {
    rivals: [rival(['comaField', 'focus'], 3), rival(['motion', 'focus'], 20), rival(['focus'], 90)],
  });

  test('is one that does without it, though another may be nearer', () => {
    expect(otherStory(fit, 'coma')).toEqual({ cause: 'trailing', gap: 20, atLeast: false });
    expect(otherStory(fit, 'collimation')?.gap).toBe(20);
    expect(otherStory(fit, 'trailing')?.gap).toBe(3);
  });

  test('is none where every one of them has the cause, or nothing of the model makes it', () => {
    expect(otherStory(fit, 'focus')).toBeNull();
    expect(otherStory(fit, 'seeing')).toBeNull();
    expect(otherStory(fit, 'dispersion')).toBeNull();
  });
});

describe('where the physics does not hold', () => {
  const even = { value: 0, sigma: 0.01 };
  const alike: PlainLook = {
    stars: 60,
    common: { value: 0.5, sigma: 0.01 },
    commonAngleDeg: 20,
    varying: 0.04,
    radial: even,
    slope: even,
    slopeAngleDeg: 0,
    bowl: even,
    commonComet: even,
    radialComet: even,
  };
  const untold = { focalRatio: false, pixelSize: false, obstruction: 'assumed' } as const;
  const seen = (fit: FieldFit, look: PlainLook) =>
    verdictOf(fit, { frame, sensor: nothing }, UNKNOWN_RIG, look).verdict;

  test('an unknown telescope and stars long alike: tracking, likely at most, and the frame that decides', () => {
    const verdict = seen(
      fitOf({ focus: 6, astigmatism0: 3 }, ['focus', 'astigmatism'], { known: untold, chi2PerDof: 2.4 }),
      alike,
    );
    expect(verdict.cause).toBe('trailing');
    expect(verdict.headline).toMatch(/1\.7 times as long as wide/);
    expect(verdict.confidence).toBeLessThan(0.9);
    expect(verdict.decider?.experiment).toBe('halve-exposure');
  });

  test('a telescope that is known and describes its stars keeps the word', () => {
    const fit = fitOf({ focus: 6, astigmatism0: 6 }, ['focus', 'astigmatism'], { chi2PerDof: 1.5 });
    expect(seen(fit, alike).cause).toBe('astigmatism');
  });

  test('no slope over the field, no leaning sensor', () => {
    const fit = fitOf({ tiltX: 6 }, ['tilt'], { coherence: 0.06 });
    expect(seen(fit, { ...alike, common: even }).cause).not.toBe('tilt');
    expect(seen(fit, { ...alike, common: even, slope: { value: 0.3, sigma: 0.02 } }).cause).toBe('tilt');
  });

  test('nothing that the model says is seen, but corners are wider: said in plain words, without a screw to turn', () => {
    const fit = fitOf({ tiltX: 4 }, ['tilt'], { known: untold, coherence: 0.08 });
    const wider = { ...alike, common: even, bowl: { value: 0.3, sigma: 0.02 } };
    const verdict = seen(fit, wider);
    expect([verdict.cause, verdict.confidence]).toEqual(['curvature', 0.5]);
    expect(verdict.headline).toMatch(/35 % wider from the middle to the corners/);
    expect(verdict.next).toEqual([]);
    expect(seen(fit, { ...wider, radialComet: { value: 0.4, sigma: 0.03 } }).cause).toBe('coma');
  });

  test('a model that hardly describes the stars and shapes without a pattern: no word', () => {
    const nothingSeen = { ...alike, common: even };
    const verdict = seen(fitOf({}, [], { coherence: 0.2 }), nothingSeen);
    expect(verdict.headline).toMatch(/^Cannot tell/);
    expect(verdict.confidence).toBeLessThan(0.5);
  });

  test('stars that stretch away from the middle deny a field that turned', () => {
    const fit = fitOf({ rotation: 8, motionX: 3 }, ['motion', 'rotation'], { coherence: 0.04 });
    const around = { ...alike, common: even, varying: 0.3, radial: { value: -0.4, sigma: 0.02 } };
    expect(seen(fit, around).cause).toBe('rotation');
    expect(seen(fit, { ...around, radial: { value: 0.4, sigma: 0.02 } }).cause).not.toBe('rotation');
  });

  test('images of a kicked mount stand apart: round shapes do not deny them; of a trail they do', () => {
    const kicked = (changes: Partial<FieldFit>) =>
      fitOf({ motionX: 8 }, ['motion'], { coherence: 0.06, ...changes });
    const round = { ...alike, common: even };
    expect(seen(kicked({ path: 'jump' }), round).cause).toBe('trailing');
    expect(seen(kicked({ path: 'straight' }), round).cause).not.toBe('trailing');
  });

  test('a wider disc of an unknown telescope is not called focus; a ring is', () => {
    const blurred = (focus: number) =>
      judge(fitOf({ focus }, ['focus'], { known: untold, focalLengthMm: null })).verdict;
    expect(blurred(2.2).cause).toBe('clean');
    expect(blurred(2.2).confidence).toBeLessThan(0.9);
    expect(blurred(2.2).decider?.experiment).toBe('refocus-step');
    expect(blurred(9).cause).toBe('focus');
  });
});
