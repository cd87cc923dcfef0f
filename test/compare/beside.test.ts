import { expect, test } from 'vitest';
import { setBeside } from '../../src/compare/beside.ts';
import { beyondCentre, lengthOf } from '../../src/compare/quantities.ts';
import { chanceOf, holm } from '../../src/compare/significance.ts';
import { changes, headline } from '../../src/compare/words.ts';
import type { BudgetPart, FieldModel, FrameReport } from '../../workers/protocol/report.ts';
import { BUDGET_PARTS } from '../../workers/protocol/report.ts';
import { reportOf } from '../src/reports.ts';

const PIXELS = { arcsecPerPx: null, umPerPx: null };

/** A seeded normal deviate (Park & Miller's generator, Box & Muller's transform). */
function noise(seed: number): () => number {
  let state = seed;
  const uniform = () => (state = (state * 16807) % 2147483647) / 2147483647;
  return () => Math.sqrt(-2 * Math.log(uniform())) * Math.cos(2 * Math.PI * uniform());
}

const SIGMA = 0.05;
/** Stars of these true widths as one frame would measure them: each ninth with its own error. */
const measuredFrame = (centrePx: number, cornerPx: number, normal: () => number): FrameReport =>
  reportOf((u, v) => ({
    fwhmPx: (u || v ? cornerPx : centrePx) + SIGMA * normal(),
    sigma: SIGMA,
    e1: 0.2 * u + 0.01 * normal(),
    e2: 0,
    eSigma: 0.01,
  }));

const still = () => 0;
const row = (beside: ReturnType<typeof setBeside>, key: string) =>
  beside.differences.find((difference) => difference.key === key)!;

test('chances of a normal deviate are those of the tables', () => {
  // Quantiles of the standard normal distribution, any table: two-sided 5 %, 1 %, 0.1 %.
  for (const [z, chance] of [
    [0, 1],
    [1.959964, 0.05],
    [2.575829, 0.01],
    [3.290527, 0.001],
  ])
    expect(Math.abs(chanceOf(z) - chance)).toBeLessThan(3e-7);
  expect(chanceOf(-2)).toBe(chanceOf(2));
  expect(chanceOf(40)).toBe(0);
});

test("Holm's rule steps down until the first chance that is too large", () => {
  // By hand: 0.005 <= 0.05/4, 0.01 <= 0.05/3, 0.03 > 0.05/2, and there it ends.
  expect(holm([0.01, 0.04, 0.03, 0.005], 0.05)).toEqual([true, false, false, true]);
  expect(holm([0.04, null], 0.05)).toEqual([true, false]);
  expect(holm([], 0.05)).toEqual([]);
});

test('two frames of the same sky are called different in about one of twenty comparisons at most', () => {
  const normal = noise(7);
  const RUNS = 600;
  let alarms = 0;
  for (let run = 0; run < RUNS; run++) {
    const beside = setBeside(measuredFrame(3, 4, normal), measuredFrame(3, 4, normal));
    if (beside.differences.some(({ judgement }) => judgement === 'better' || judgement === 'worse')) alarms++;
  }
  // 5 % and three standard errors of a count (binomial): Holm's rule only bounds it from above.
  expect(alarms / RUNS).toBeLessThan(0.05 + 3 * Math.sqrt((0.05 * 0.95) / RUNS));
});

test('a real change is found, told with its error, and in the right direction', () => {
  const beside = setBeside(measuredFrame(3, 4, noise(1)), measuredFrame(3, 3.4, noise(2)));
  expect(beside.judgement).toBe('better');
  const corners = row(beside, 'corners');
  // Mean of four independent corners, twice: sigma * sqrt(2 / 4).
  expect(corners.change!.sigma).toBeCloseTo(SIGMA * Math.sqrt(0.5), 12);
  expect(Math.abs(corners.change!.value + 0.6)).toBeLessThan(3 * corners.change!.sigma);
  expect(row(beside, 'centre').judgement).toBe('same');
  expect(headline(beside, 'px', PIXELS)).toMatch(
    /^Better: the stars in the corners shrank from [34]\.\d\d\u202fpx to 3\.\d\d\u202fpx\.$/,
  );
  const back = setBeside(measuredFrame(3, 3.4, noise(2)), measuredFrame(3, 4, noise(1)));
  expect(back.judgement).toBe('worse');
  const mixed = setBeside(measuredFrame(3, 4, still), measuredFrame(3.6, 3.4, still));
  expect(mixed.judgement).toBe('mixed');
  expect(headline(mixed, 'px', PIXELS)).toMatch(/Better in one place, worse in another/);
});

test('a change that is sure but tiny is none, and an unsure one is none however large', () => {
  const sharp = (px: number, sigma: number) =>
    reportOf(() => ({ fwhmPx: px, sigma, e1: 0, e2: 0, eSigma: 0.01 }));
  expect(setBeside(sharp(4, 0.001), sharp(4.05, 0.001)).judgement).toBe('same');
  expect(setBeside(sharp(4, 1), sharp(5, 1)).judgement).toBe('same');
  const words = headline(setBeside(sharp(4, 0.2), sharp(4, 0.2)), 'px', PIXELS);
  // Seen in four of five cases: (1.96 + 0.84) * 0.2 * sqrt(2/4) = 0.40 (textbook, power of a normal test).
  expect(words).toContain('about 0.40\u202fpx more or less in the corners would have been seen');
});

test('what corners have beyond the centre does not feel the air', () => {
  const sum = (...parts: number[]) => Math.hypot(...parts);
  const [calm, rough] = [2, 3].map((air) =>
    beyondCentre({ value: air, sigma: 0.03 }, { value: sum(air, 2.5), sigma: 0.03 }),
  );
  expect(calm!.value).toBeCloseTo(2.5, 12);
  expect(rough!.value).toBeCloseTo(2.5, 12);
  // Propagation of errors by differences, over the exact formula.
  const e = (c: number, k: number) => Math.sqrt(k * k - c * c);
  const [c, k, d] = [2, sum(2, 2.5), 1e-6];
  const numeric = 0.03 * Math.hypot((e(c + d, k) - e(c, k)) / d, (e(c, k + d) - e(c, k)) / d);
  expect(calm!.sigma).toBeCloseTo(numeric, 5);
  expect(beyondCentre({ value: 3, sigma: 0.1 }, { value: 2.9, sigma: 0.1 })!.value).toBe(0);
  const slope = lengthOf({ x: { value: 3, sigma: 0.3 }, y: { value: 4, sigma: 0.1 } })!;
  // |(3, 4)| = 5; sigma = sqrt((3*0.3)² + (4*0.1)²) / 5.
  expect([slope.value, slope.sigma]).toEqual([5, Math.hypot(0.9, 0.4) / 5]);
});

function explained(
  report: FrameReport,
  parts: Partial<Record<BudgetPart, { variancePx2: number; significance: number }>>,
  lie: Partial<Pick<FieldModel, 'tiltUmPerMm' | 'roundBlurFwhmPx'>> & { comaMm?: [number, number] } = {},
): FrameReport {
  const nothing = { value: 0, sigma: 0 };
  const none = { x: nothing, y: nothing };
  const variancePx2 = Object.fromEntries(
    BUDGET_PARTS.map((part) => [part, parts[part]?.variancePx2 ?? 0]),
  ) as Record<BudgetPart, number>;
  const at = (value: number) => ({ value, sigma: 0.05 });
  return {
    ...report,
    budget: (['centre', 'corners'] as const).map((where) => ({ where, variancePx2 })),
    causes: Object.entries(parts).map(([cause, { significance }]) => ({
      cause: cause as 'coma',
      family: 'optics',
      cornerShare: nothing,
      significance,
      cornerFwhmWithoutPx: 0,
    })),
    model: {
      chi2PerDof: 1,
      stars: 50,
      roundBlurFwhmPx: { value: 2.5, sigma: 0.02 },
      focusUm: nothing,
      tiltUmPerMm: none,
      curvaturePerM: nothing,
      focusSignKnown: true,
      coma: {
        strength: { value: 1, sigma: 0.02 },
        constantUm: none,
        centreMm: lie.comaMm ? { x: at(lie.comaMm[0]), y: at(lie.comaMm[1]) } : null,
      },
      astigmatismUm: { cos: nothing, sin: nothing },
      astigmatismField: nothing,
      trefoilUm: { cos: nothing, sin: nothing },
      sphericalUm: nothing,
      motion: { path: 'none', lengthPx: null, angleDeg: null, minorityFraction: null },
      rotation: { angleDeg: null, centreMm: null },
      dispersionPx: none,
      ...lie,
    } as FieldModel,
  };
}

test('causes, coma centre and slope are told by what changed', () => {
  const frame = measuredFrame(3, 4, still);
  const before = explained(
    frame,
    { coma: { variancePx2: 1, significance: 40 }, tilt: { variancePx2: 0.5, significance: 20 } },
    { comaMm: [2, 0], tiltUmPerMm: { x: { value: 9, sigma: 0.5 }, y: { value: 12, sigma: 0.5 } } },
  );
  const after = explained(
    frame,
    { coma: { variancePx2: 0.25, significance: 25 }, trailing: { variancePx2: 0.3, significance: 30 } },
    { comaMm: [0.5, 0] },
  );
  const beside = setBeside(before, after);
  // Width of a Gaussian over its standard deviation: 2 sqrt(2 ln 2), textbook.
  const width = 2 * Math.sqrt(2 * Math.LN2);
  expect(row(beside, 'coma')).toMatchObject({ judgement: 'better' });
  expect(row(beside, 'coma').change!.value).toBeCloseTo(-0.5 * width, 9);
  expect(row(beside, 'tilt')).toMatchObject({ judgement: 'better', unseen: { before: false, after: true } });
  expect(row(beside, 'trailing')).toMatchObject({
    judgement: 'worse',
    unseen: { before: true, after: false },
  });
  expect(row(beside, 'slope').before!.value).toBeCloseTo(15, 12);
  expect(beside.comaMovedMm).toMatchObject({ x: -1.5, y: 0 });
  // What neither frame shows is not listed.
  expect(row(beside, 'spherical')).toBeUndefined();
  const words = changes(beside, 'px', PIXELS).join(' ');
  expect(words).toMatch(/Tilt of the sensor: no longer seen/);
  expect(words).toMatch(/Trailing[^:]*: new/);
  expect(words).toMatch(
    /coma centre moved 1\.50 ± 0\.07 mm towards the left of the picture and now lies 0\.50 mm/,
  );
  const same = setBeside(before, before);
  expect(changes(same, 'px', PIXELS)).toEqual([]);
  expect(same.comaMovedMm).toBeNull();
});

test('a coma centre that the fit only assumed is not compared; what wide stars may hide is not called new', () => {
  const nowhere = { x: { value: 0, sigma: 0 }, y: { value: 0, sigma: 0 } };
  const blurred = explained(measuredFrame(9, 9, still), {});
  blurred.model!.coma.centreMm = nowhere;
  const parts = { tilt: { variancePx2: 0.03, significance: 6 } };
  const sharp = explained(measuredFrame(3, 3, still), parts, { comaMm: [2, 1] });
  const beside = setBeside(blurred, sharp);
  expect(row(beside, 'coma-centre').change).toBeNull();
  expect(beside.comaMovedMm).toBeNull();
  expect(row(beside, 'tilt')).toMatchObject({ judgement: 'same', unseen: { before: true } });
  // Beside a frame as sharp as itself the same tilt is new.
  const plain = setBeside(explained(measuredFrame(3, 3, still), {}), sharp);
  expect(row(plain, 'tilt').change!.sigma).toBeLessThan(row(beside, 'tilt').change!.sigma / 5);
});

test('frames of another scale are compared by angle, and not at all where the scale is not known', () => {
  const facts = {
    widthPx: 1000,
    heightPx: 800,
    mosaic: null,
    exposureS: 10,
    pixelSizeUm: null,
    focalLengthMm: null,
    apertureMm: null,
    obstruction: null,
    arcsecPerPx: 1,
  };
  const wide = { ...measuredFrame(2, 3, still), frame: { ...facts, arcsecPerPx: 2 } };
  const fine = { ...measuredFrame(4, 6, still), frame: { ...facts, widthPx: 2000 } };
  const scaled = setBeside(wide, fine);
  expect(scaled.cautions).toContain('scaled');
  expect(row(scaled, 'corners').before!.value).toBeCloseTo(6, 12);
  expect(scaled.judgement).toBe('same');
  const unknown = setBeside({ ...wide, frame: { ...facts, arcsecPerPx: null } }, fine);
  expect(unknown.cautions).toContain('other-scale');
  expect(row(unknown, 'corners')).toBeUndefined();
  expect(row(unknown, 'corners-shape').judgement).toBe('same');
  expect(unknown.judgement).toBe('unknown');
  const longer = setBeside({ ...fine, frame: { ...facts, widthPx: 2000, exposureS: 30 } }, fine, {
    before: '2026-11-26T02:00:00Z',
    after: '2026-11-26T01:00:00Z',
  });
  expect(longer.cautions).toEqual(expect.arrayContaining(['other-exposure', 'other-order', 'unexplained']));
});
