import { expect, test } from 'vitest';
import type { FocusRunResult } from '../../workers/protocol/focus-run.ts';
import type { RunJudgement, RunPoint } from '../../workers/protocol/run.ts';
import { cutAlong } from '../../src/charts/focus-section.ts';
import { frameAt, railRows, timelinePlaces } from '../../src/charts/night-timeline.ts';
import { roundLength } from '../../src/charts/path-plot.ts';
import { focusSection } from '../../src/night/focus-words.ts';
import { letterOf } from '../../src/night/mark-words.ts';
import { runCsv } from '../../src/night/run-csv.ts';
import { causesSentence, spanText } from '../../src/night/run-words.ts';

test('frames stand by the clock, or evenly when a break would squeeze them', () => {
  const { at, even } = timelinePlaces([0, 60, 120, 240], 412);
  expect(even).toBe(false);
  // 400 px between margins of 6: half of the time is half of the way.
  expect(at).toEqual([6, 106, 206, 406]);
  const night = timelinePlaces([0, 60, 86_400_000, 86_400_060], 306);
  expect(night.even).toBe(true);
  expect(night.at[2] - night.at[1]).toBeCloseTo(98, 9);
  expect(timelinePlaces([5], 300).at).toEqual([6]);
});

test('a tap finds the nearest frame', () => {
  const times = [0, 60, 120, 180];
  const width = 500;
  const { at } = timelinePlaces(times, width - 46 - 10);
  at.forEach((place, i) => expect(frameAt(times, width, place + 46 + 3)).toBe(i));
  expect(frameAt(times, width, -50)).toBe(0);
  expect(frameAt(times, width, 9999)).toBe(3);
});

test('names on the rail never overlap', () => {
  const spans = [
    { start: 0, end: 300 },
    { start: 10, end: 60 },
    { start: 50, end: 120 },
    { start: 70, end: 90 },
    { start: 310, end: 320 },
  ];
  const rows = railRows(spans);
  spans.forEach((p, i) =>
    spans.forEach((q, j) => {
      if (i < j && rows[i] === rows[j]) expect(p.end < q.start || q.end < p.start).toBe(true);
    }),
  );
  expect(rows[4]).toBe(0);
});

test('letters, lengths and spans', () => {
  expect([0, 25, 26, 27, 51, 52].map(letterOf)).toEqual(['A', 'Z', 'AA', 'AB', 'AZ', 'BA']);
  expect([0.7, 1, 3.3, 7, 48, 230].map(roundLength)).toEqual([0.5, 1, 2, 5, 20, 200]);
  expect([0.2, 40, 89, 91, 3600, 5400, 7260].map(spanText)).toEqual([
    '1 s',
    '40 s',
    '89 s',
    '2 min',
    '60 min',
    '1 h 30 min',
    '2 h 1 min',
  ]);
});

const point = (changes: Partial<RunPoint>): RunPoint => ({
  key: 'a',
  timeMs: Date.UTC(2026, 9, 17, 20),
  timeFrom: 'frame',
  exposureS: 30,
  fault: null,
  fwhmPx: null,
  hfdPx: null,
  elongation: null,
  angleDeg: null,
  stars: 0,
  skyAdu: null,
  noiseAdu: null,
  brightness: null,
  halo: null,
  place: null,
  temperatureC: null,
  focusPosition: null,
  altitudeDeg: null,
  sunAltitudeDeg: null,
  pierSide: null,
  verdict: null,
  ...changes,
});

test('verdicts of single frames are counted, the commonest first; none where no frame was asked', () => {
  const said = (cause: 'trailing' | 'focus') => point({ verdict: { cause, confidence: 0.8, headline: '' } });
  expect(causesSentence([point({}), point({})])).toBeNull();
  expect(causesSentence([said('focus'), point({}), said('trailing'), said('trailing')])).toBe(
    'Why the stars are not round, by 3 frames looked into: movement in 2, focus in 1.',
  );
});

test('the table quotes what holds commas and quotes (RFC 4180) and leaves unknown cells empty', () => {
  const judgement = {
    points: [point({}), point({ fwhmPx: { value: 2.5, sigma: 0.1 } })],
    kept: [false, true],
    reasons: [['Wide, "very" wide.'], []],
    marks: [{ kind: 'gust', from: 0, to: 0 }],
  } as unknown as RunJudgement;
  const [head, first, second, end] = runCsv(judgement, ['a, b.fits', 'c.fits']).split('\r\n');
  expect(head.split(',').slice(0, 4)).toEqual(['file', 'timeUtc', 'exposureS', 'fwhmPx']);
  expect(first).toMatch(/^"a, b\.fits",2026-10-17T20:00:00\.000Z,30,,,/);
  expect(first).toMatch(/,no,"Wide, ""very"" wide\.",gust$/);
  expect(second).toMatch(/^c\.fits,.*,2\.5,0\.1,/);
  expect(second).toMatch(/,yes,,$/);
  expect(end).toBe('');
});

test('the sensor from the side: focus, tilt and curvature as the report defines them', () => {
  const sure = (value: number) => ({ value, sigma: 0 });
  // 10 µm/mm towards +x, curvature 2 a metre, compromise 5 steps of 3 µm beyond the middle's best.
  const result = {
    report: {
      bestPosition: sure(100),
      umPerStep: sure(3),
      curvaturePerM: sure(2),
      tiltUmPerMm: { x: sure(10), y: sure(0) },
    },
    compromisePosition: sure(105),
    tilt: { directionDeg: sure(0), umPerMm: sure(10) },
  } as unknown as FocusRunResult;
  const points = focusSection(result, 4, 1001, 501, cutAlong)!;
  const last = points[points.length - 1];
  expect(last.at).toBeCloseTo(2.002, 6);
  // z = focus + tilt x - curvature x² / 2; µm, with 1/m = µm/mm².
  expect(last.defocusUm.value).toBeCloseTo(15 + 10 * 2.002 - 2.002 ** 2, 6);
  expect(points[20].defocusUm.value).toBeCloseTo(15, 9);
  expect(focusSection(result, null, 1001, 501, cutAlong)).toBeNull();
});
