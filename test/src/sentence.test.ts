import { expect, test } from 'vitest';
import { compare, leanTogether, meanOf } from '../../src/story/comparison.ts';
import { describe as tell } from '../../src/story/sentence.ts';
import { reportOf, type Cell } from './reports.ts';

const PX = { arcsecPerPx: null, umPerPx: null };
const say = (cell: (u: number, v: number) => Cell | null) =>
  tell(reportOf(cell), 'px', PX).replaceAll('\u202f', ' ');
const round = { sigma: 0.03, e1: 0, e2: 0, eSigma: 0.005 };

test('a mean of four estimates has half the error of one (independent errors add in squares)', () => {
  const mean = meanOf([1, 2, 3, 6].map((value) => ({ value, sigma: 0.4 })))!;
  expect(mean.value).toBe(3);
  expect(mean.sigma).toBeCloseTo(0.2, 12);
  expect(meanOf([null, null])).toBeNull();
});

test('corners that are wider are told with how much', () => {
  const text = say((u, v) => ({ ...round, fwhmPx: 3.1 + 0.65 * (u * u + v * v) }));
  expect(text).toBe(
    'Stars are 3.1 px wide in the centre and 4.4 px in the corners (42 % wider); nowhere are they longer than wide.',
  );
});

test('"the corners match" is said only when a twentieth would have been seen', () => {
  expect(say(() => ({ ...round, fwhmPx: 3.1 }))).toContain('3.1 px wide, and the corners match the centre');
  expect(say((u) => ({ ...round, sigma: 0.001, fwhmPx: 3.1 + 0.03 * u * u }))).toContain('match the centre');
  const unsure = say((u, v) => ({ ...round, sigma: 0.3, fwhmPx: 3.1 + 0.05 * (u * u + v * v) }));
  expect(unsure).toContain('whether the corners differ cannot be told');
});

test('narrower corners and a single bad one are told', () => {
  expect(say((u, v) => ({ ...round, fwhmPx: 4 - 0.5 * (u * u + v * v) }))).toContain('(25 % narrower)');
  const text = say((u, v) => ({ ...round, fwhmPx: u > 0 && v > 0 ? 6 : 3 }));
  expect(text).toContain('worst at the bottom right (6.0 px)');
});

test('a drift leans one way; the pattern of coma or curvature, which turns with the place, does not', () => {
  const drift = (): Cell => ({ ...round, fwhmPx: 3, e1: -0.12, e2: 0.01 });
  expect(say(drift)).toContain('all over the frame they are 13 % longer than wide, up and down');
  const radial = (u: number, v: number): Cell => {
    const angle = 2 * Math.atan2(v, u);
    const e = 0.1 * Math.hypot(u, v);
    return { ...round, fwhmPx: 3, e1: e * Math.cos(angle), e2: e * Math.sin(angle) };
  };
  expect(leanTogether(reportOf(radial))).toBe(false);
  expect(say(radial)).toContain('corner stars are 15 % longer than wide, each corner its own way');
});

test('coma about an axis off the sensor is no common lean as long as it turns across the frame', () => {
  const shifted = (u: number, v: number): Cell => {
    const [dx, dy] = [u + 0.6, v - 0.3];
    const angle = 2 * Math.atan2(dy, dx);
    const e = 0.1 * (dx * dx + dy * dy);
    return { ...round, fwhmPx: 3, e1: e * Math.cos(angle), e2: e * Math.sin(angle) };
  };
  expect(leanTogether(reportOf(shifted))).toBe(false);
});

test('an elongation within its errors is not mentioned', () => {
  expect(say(() => ({ ...round, fwhmPx: 3, e1: 0.05, e2: 0, eSigma: 0.2 }))).toContain(
    'nowhere are they longer than wide',
  );
});

test('empty corners and an empty centre are said, and a frame without widths', () => {
  const noCorners = say((u, v) => (u * v !== 0 ? null : { ...round, fwhmPx: 3 }));
  expect(noCorners).toContain('too few lie in the corners to compare');
  const noCentre = say((u, v) => (u === 0 && v === 0 ? null : { ...round, fwhmPx: 3 }));
  expect(noCentre).toContain('too few lie in the centre to compare');
  expect(compare(reportOf((u, v) => (u * v !== 0 ? null : { ...round, fwhmPx: 3 }))).verdict).toBe('unknown');
});

test('where stars are rings the half-flux diameter is told instead', () => {
  const report = reportOf((u, v) => ({ ...round, fwhmPx: 7 + 0.7 * (u * u + v * v) }));
  for (const region of report.regions) region.fwhmPx = null;
  expect(compare(report).size).toBe('hfdPx');
  const text = tell(report, 'px', PX).replaceAll('\u202f', ' ');
  expect(text).toContain('7.0 px (half-flux diameter) in the centre and 8.4 px in the corners (20 % wider)');
});

test('a long trail is told as a factor', () => {
  expect(say(() => ({ ...round, fwhmPx: 3, e1: 0.6, e2: 0 }))).toContain(
    '2.0 times as long as wide, left to right',
  );
});
