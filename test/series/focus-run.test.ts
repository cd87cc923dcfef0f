import { describe, expect, test } from 'vitest';
import type { FocusRunResult } from '../../workers/protocol/focus-run.ts';
import { focusRun } from '../../workers/series/focus-run.ts';
import { isFocusRun } from '../../workers/series/focus-samples.ts';
import { drawnRun, rayRecords, type RayRun } from './focus-rays.ts';

// Truth is that of stars drawn by rays (focus-rays.ts), which knows nothing of the law that is fitted.

const CORRECTED = { coma: 0.1 };

function answerOf(run: RayRun, told: number | null = run.umPerStep): FocusRunResult {
  const answer = focusRun(rayRecords(run), { focusUmPerStep: told });
  if (!answer.ok) throw new Error(answer.sentence);
  return answer.value;
}

/** Error of the tilt: relative size and direction in degrees; and of the focus over a tenth of 4.88 λF². */
function errorsOf(run: RayRun, { report }: FocusRunResult) {
  const [x, y] = [report.tiltUmPerMm.x!.value, report.tiltUmPerMm.y!.value];
  const { x: tx, y: ty } = run.tiltUmPerMm;
  return {
    size: Math.hypot(x, y) / Math.hypot(tx, ty) - 1,
    directionDeg: (Math.atan2(y * tx - x * ty, x * tx + y * ty) * 180) / Math.PI,
    focus:
      ((report.bestPosition!.value - run.bestPosition) * run.umPerStep) /
      (0.1 * 4.88 * 0.55 * run.focalRatio ** 2),
  };
}

describe('a focus run of seven to nine frames', () => {
  test.each([1, 2, 3, 4, 5, 6, 7, 8])(
    'run %i: tilt within three per cent and 2 degrees, focus within a tenth of 4.88 λF²',
    (seed) => {
      const run = drawnRun(seed, CORRECTED);
      const { size, directionDeg, focus } = errorsOf(run, answerOf(run));
      expect(Math.abs(size)).toBeLessThan(0.03);
      expect(Math.abs(directionDeg)).toBeLessThan(2);
      expect(Math.abs(focus)).toBeLessThan(1);
    },
  );

  test('curvature has its sign and size, apart from tilt', () => {
    for (const curvaturePerM of [-2.5, 2.5]) {
      const run = drawnRun(11, { ...CORRECTED, curvaturePerM });
      const { value, sigma } = answerOf(run).report.curvaturePerM!;
      expect(Math.abs(value - curvaturePerM)).toBeLessThan(4 * sigma);
      expect(sigma).toBeLessThan(0.5);
    }
  });

  test.each([21, 22, 23])(
    'run %i: curvature of a bare mirror, whose coma and astigmatism move the smallest star',
    (seed) => {
      for (const curvaturePerM of [-2.5, 2.5]) {
        const run = drawnRun(seed, {
          ...{ coma: 1, astigmatism: 1, curvaturePerM },
          ...{ focalLengthMm: 400, focalRatio: 4, pixelUm: 2.9, stars: 110 },
        });
        const { value, sigma } = answerOf(run).report.curvaturePerM!;
        expect(Math.abs(value - curvaturePerM)).toBeLessThan(3 * sigma);
        expect(sigma).toBeLessThan(0.6);
      }
    },
  );

  test('the sign of the steps turns the signs of tilt and curvature', () => {
    const run = drawnRun(12, CORRECTED);
    const right = answerOf(run).report;
    const wrong = answerOf(run, -run.umPerStep).report;
    expect(wrong.tiltUmPerMm.x!.value).toBeCloseTo(-right.tiltUmPerMm.x!.value, 6);
    expect(wrong.curvaturePerM!.value).toBeCloseTo(-right.curvaturePerM!.value, 6);
    expect(wrong.bestPosition!.value).toBeCloseTo(right.bestPosition!.value, 6);
  });

  test('micrometres per step by geometry when nobody tells them', () => {
    const run = drawnRun(13, { ...CORRECTED, umPerStep: 4, obstruction: 0.3, seeingChange: 0 });
    const { report, signTold } = answerOf(run, null);
    // Rays know no diffraction: their stars grow a few per cent faster near focus than the law's.
    expect(Math.abs(report.umPerStep!.value / 4 - 1)).toBeLessThan(0.12);
    expect(signTold).toBe(false);
  });

  test('a frame that was kicked does no harm', () => {
    const run = drawnRun(14, { ...CORRECTED, kicked: 3 });
    const { size, directionDeg, focus } = errorsOf(run, answerOf(run));
    expect(Math.abs(size)).toBeLessThan(0.06);
    expect(Math.abs(directionDeg)).toBeLessThan(4);
    expect(Math.abs(focus)).toBeLessThan(1);
  });

  test('a frame with a wrong focus position is found and left out', () => {
    const run = drawnRun(15, { ...CORRECTED, noise: 0.004 });
    const records = rayRecords(run);
    const { positions } = run;
    records[2].meta.focusPosition = positions[2] + 0.8 * (positions[5] - positions[2]);
    const answer = focusRun(records, { focusUmPerStep: run.umPerStep });
    if (!answer.ok) throw new Error(answer.sentence);
    expect(answer.value.leftOut.map(({ record }) => record)).toEqual([2]);
    expect(Math.abs(errorsOf(run, answer.value).focus)).toBeLessThan(1);
  });
});

describe('astigmatism', () => {
  test('of a bare mirror: tangential before sagittal focus by h²/f at the corner', () => {
    const run = drawnRun(16, {
      coma: 0,
      astigmatism: 1,
      focalLengthMm: 400,
      focalRatio: 4,
      pixelUm: 3.8,
      curvaturePerM: 0,
    });
    const { astigmatism } = answerOf(run);
    const corner = (Math.hypot(run.widthPx, run.heightPx) * run.pixelUm) / 2000;
    const expected = (-1000 * corner ** 2) / run.focalLengthMm;
    expect(Math.abs(astigmatism!.cornerTangentialMinusSagittalUm.value / expected - 1)).toBeLessThan(0.2);
  });
});

describe('what is no focus run', () => {
  test('too few positions are refused with what to do', () => {
    const run = drawnRun(17);
    const answer = focusRun(rayRecords({ ...run, positions: [run.positions[0], run.positions[4]] }));
    expect(answer).toMatchObject({ ok: false });
    expect(!answer.ok && answer.sentence).toMatch(/positions/);
  });

  test('frames at one position are a tracking run, those of a run through focus are not', () => {
    const run = drawnRun(18);
    expect(isFocusRun(rayRecords(run))).toBe(true);
    expect(isFocusRun(rayRecords({ ...run, positions: run.positions.map(() => run.positions[3]) }))).toBe(
      false,
    );
  });
});
