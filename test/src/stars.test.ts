import { expect, test } from 'vitest';
import { axisOf } from '../../src/stars/shape.ts';
import { cometCells } from '../../src/stars/comet-cells.ts';
import { starFacts } from '../../src/stars/facts.ts';
import { regionsCsv, starsCsv } from '../../src/format/export.ts';
import { markEllipse, starAt } from '../../src/viewer/marks.ts';
import { FLAG } from '../../workers/protocol/flags.ts';
import { reportOf } from './reports.ts';
import { starTableOf } from './star-tables.ts';

test('the axis of a distortion turns half as fast as its vector, from x towards y', () => {
  // Moments of a rod along 30 degrees with A = 2 B: Ixx = A^2 cos^2 + B^2 sin^2 and so on (analytic geometry).
  const [a2, b2, t] = [4, 1, Math.PI / 6];
  const xx = a2 * Math.cos(t) ** 2 + b2 * Math.sin(t) ** 2;
  const yy = a2 * Math.sin(t) ** 2 + b2 * Math.cos(t) ** 2;
  const xy = (a2 - b2) * Math.sin(t) * Math.cos(t);
  const { elongation, angleRad } = axisOf((xx - yy) / (xx + yy), (2 * xy) / (xx + yy));
  expect(elongation).toBeCloseTo(2, 12);
  expect(angleRad).toBeCloseTo(t, 12);
});

test("a mark is the star's ellipse: its axes have the elongation, its area that of the widened circle", () => {
  const stars = starTableOf(1, (s) => {
    s.e1[0] = 0.6;
  });
  const { major, minor, angleRad } = markEllipse(stars, 0);
  expect(major / minor).toBeCloseTo(2, 6);
  expect(major * minor).toBeCloseTo(((2.5 * 3) / 2) ** 2, 6);
  expect(angleRad).toBe(0);
});

test('the error of an elongation is its derivative times the error of the distortion', () => {
  const at = (e1: number) =>
    starFacts(
      starTableOf(1, (s) => (s.e1[0] = e1)),
      0,
    ).elongation!;
  const slope = (at(0.31).value - at(0.29).value) / 0.02;
  expect(at(0.3).sigma).toBeCloseTo(slope * 0.01, 4);
});

test('a tap finds the nearest star within reach and nothing elsewhere', () => {
  const stars = starTableOf(2, (s, i) => {
    s.xPx[i] = 100 + 40 * i;
    s.yPx[i] = 100;
  });
  const camera = { xPx: 120, yPx: 100, zoom: 1 };
  const window = { width: 400, height: 300 };
  expect(starAt(stars, camera, window, 185, 155, 14)).toBe(0);
  expect(starAt(stars, camera, window, 215, 152, 14)).toBe(1);
  expect(starAt(stars, camera, window, 320, 250, 14)).toBeNull();
});

test('the comet of a cell is the median of its good stars with the error of a median', () => {
  let state = 77;
  const uniform = () => (state = (state * 16807) % 2147483647) / 2147483647;
  const normal = () => Math.sqrt(-2 * Math.log(uniform())) * Math.cos(2 * Math.PI * uniform());
  const stars = starTableOf(800, (s, i) => {
    s.xPx[i] = uniform() * 1000 - 0.5;
    s.yPx[i] = uniform() * 1000 - 0.5;
    s.cometX[i] = (s.xPx[i] < 499.5 ? -0.2 : 0.2) + 0.1 * normal();
    s.cometY[i] = 0.1 * normal();
    if (i % 10 === 0) {
      s.flags[i] = FLAG.blended;
      s.cometX[i] = 5;
    }
  });
  const cells = cometCells(stars, 1000, 1000, 2, 1);
  expect(cells.map((cell) => [cell.col, cell.row])).toEqual([
    [0, 0],
    [1, 0],
  ]);
  for (const cell of cells) {
    // Median of n normal values: 1.2533 sigma / sqrt(n).
    expect(cell.sigma / ((1.2533 * 0.1) / Math.sqrt(cell.stars))).toBeGreaterThan(0.8);
    expect(cell.sigma / ((1.2533 * 0.1) / Math.sqrt(cell.stars))).toBeLessThan(1.25);
    expect(Math.abs(cell.x - (cell.col ? 0.2 : -0.2))).toBeLessThan(4 * cell.sigma);
    expect(Math.abs(cell.y)).toBeLessThan(4 * cell.sigma);
  }
  expect(cells[0].stars + cells[1].stars).toBe(720);
});

test('tables are saved with one row each, names of columns first, and empty cells for what is not known', () => {
  const { regions } = reportOf((u) => (u < 0 ? null : { fwhmPx: 3, sigma: 0.1, e1: 0, e2: 0, eSigma: 0.01 }));
  const lines = regionsCsv(regions).split('\r\n');
  expect(lines).toHaveLength(11);
  expect(lines[0]).toBe(
    'col,row,stars,fwhmPx,fwhmPxSigma,hfdPx,hfdPxSigma,elongation,elongationSigma,angleDeg,angleDegSigma',
  );
  expect(lines[1]).toBe('0,0,0,,,,,,,,');
  expect(lines[2].startsWith('1,0,20,3,0.1,')).toBe(true);
  const stars = starTableOf(2, (s, i) => {
    s.fwhmPx[i] = NaN;
    s.flags[i] = FLAG.ring | FLAG.faint;
  });
  const rows = starsCsv({ stars }).trim().split('\r\n');
  expect(rows[1].split(',').slice(4, 5)).toEqual(['']);
  expect(rows[1].endsWith(',ring faint')).toBe(true);
});
