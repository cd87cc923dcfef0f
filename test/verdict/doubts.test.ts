import { describe, expect, test } from 'vitest';
import type { FieldFit } from '../../workers/fit/field-fit.ts';
import { UNKNOWN_RIG } from '../../workers/protocol/rig.ts';
import type { SizeScatter } from '../../workers/protocol/stamps.ts';
import { verdictOf } from '../../workers/verdict/verdict.ts';
import { fitOf } from '../support/fit-of.ts';

const facts = {
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
const sensor = { fwhmPx: null, hfdPx: null, elongation: null, angleDeg: null };
const sizesOf = (scatter: number, perLight: number, sigma = 0.01): SizeScatter => ({
  objects: 60,
  scatter: { value: scatter, sigma },
  perLight: { value: perLight, sigma },
});
const coma = () => fitOf({ comaField: 8 }, ['comaField']);
const judge = (fit: FieldFit, sizes?: SizeScatter, developed = false) =>
  verdictOf(fit, { frame: facts, sensor }, UNKNOWN_RIG, null, { sizes: sizes ?? null, developed });

describe('what is measured may be no stars', () => {
  test('stars all alike change nothing', () => {
    expect(judge(coma(), sizesOf(0.03, 0.01)).verdict).toEqual(judge(coma()).verdict);
  });

  test('objects of all sizes: cannot tell, no screw is named, another field is asked for', () => {
    const { verdict, warnings } = judge(coma(), sizesOf(0.25, 0));
    expect(verdict.headline).toMatch(/^Cannot tell: not all .* are stars\. Point at a field with more stars/);
    expect(verdict.confidence).toBeLessThanOrEqual(0.3);
    expect(verdict.next).toEqual([]);
    expect(verdict.decider!.do).toContain('more stars');
    expect(warnings.join(' ')).toMatch(/differ in size by 25 %.*galaxies/);
  });

  test('only where it is sure: 0.16 known to 0.04 is none', () => {
    expect(judge(coma(), sizesOf(0.16, 0, 0.04)).verdict).toEqual(judge(coma()).verdict);
  });

  test('the two images of a kicked mount may differ in size', () => {
    const kicked = () => fitOf({ motionX: 8 }, ['motion'], { path: 'jump' });
    expect(judge(kicked(), sizesOf(0.25, 0.2)).verdict).toEqual(judge(kicked()).verdict);
  });

  test('brightness that was altered: the cause stays, but it cannot be told for sure, and why is said', () => {
    const [plain, altered] = [judge(coma()), judge(coma(), sizesOf(0.03, 0.2))];
    expect(plain.verdict.confidence).toBeGreaterThan(0.65);
    expect(altered.verdict.cause).toBe(plain.verdict.cause);
    expect(altered.verdict.confidence).toBeLessThanOrEqual(0.5);
    expect(altered.verdict.headline).toMatch(/^Cannot tell for sure/);
    expect(altered.warnings.join(' ')).toMatch(/by 58 % for ten times the light/);
    // A developed picture needs no proof by sizes.
    expect(judge(coma(), undefined, true).verdict.confidence).toBeLessThanOrEqual(0.5);
  });
});

test('a width of the corners that no star of the frame comes near is not told', () => {
  const fit = { ...coma(), cornerFwhmPx: 8, cornerFwhmWithoutPx: { coma: 3 } };
  const region = (fwhmPx: number) => ({
    ...sensor,
    fwhmPx: { value: fwhmPx, sigma: 0.1 },
    col: 0,
    row: 0,
    cols: 3,
    rows: 3,
    stars: 9,
  });
  const said = (fwhmPx: number) =>
    verdictOf(fit, { frame: facts, sensor, regions: [region(fwhmPx)] }, UNKNOWN_RIG).verdict.headline;
  expect(said(5)).toContain('In the very corners stars are 8.0 px wide');
  expect(said(2.5)).not.toContain('very corners');
});
