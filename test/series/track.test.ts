import { describe, expect, test } from 'vitest';
import type { Estimate } from '../../workers/protocol/report.ts';
import type { SeriesResult } from '../../workers/protocol/series.ts';
import { trackRun } from '../../workers/series/track.ts';
import { createRandom } from '../../workers/simulate/random.ts';
import { makeRun, type Run } from './runs.ts';

// Runs of star lists with known motion; the truth of each exposure is a sum over moments (runs.ts), that of the longest
// exposure a search by hand below. Demands: drift rate 2 %, period 3 %, amplitude 5 %, longest exposure 5 %.

const DEG = Math.PI / 180;
type Motion = Run['motion'];
const moving =
  (
    driftPxPerMin: [number, number],
    amplitudePx = 0,
    periodS = 1,
    angleDeg = 0,
    phase = 0,
    second = 0,
  ): Motion =>
  (t) => {
    const turn = (2 * Math.PI * t) / periodS + phase;
    const swing = amplitudePx * (Math.sin(turn) + second * Math.sin(2 * turn + 0.5));
    return [
      (driftPxPerMin[0] * t) / 60 + swing * Math.cos(angleDeg * DEG),
      (driftPxPerMin[1] * t) / 60 + swing * Math.sin(angleDeg * DEG),
    ];
  };
const rms = (list: number[]) => Math.sqrt(list.reduce((sum, v) => sum + v * v, 0) / list.length);
const pull = ({ value, sigma }: Estimate, truth: number) => (value - truth) / sigma;

/** Longest exposures by brute force: from each start the moments are tried one after the other against all before. */
function longestByHand(motion: Motion, coverS: number, limitPx: number, share: number): number {
  const stepS = coverS / 1600;
  const moments = Array.from({ length: 5600 }, (_, i) => motion(i * stepS));
  const lengths = Array.from({ length: 160 }, (_, start) => {
    for (let end = 10 * start + 1; end < moments.length; end++)
      for (let back = 10 * start; back < end; back++)
        if (Math.hypot(moments[end][0] - moments[back][0], moments[end][1] - moments[back][1]) > limitPx)
          return (end - 10 * start - 0.5) * stepS;
    return Infinity;
  }).sort((a, b) => a - b);
  return lengths[Math.round((1 - share) * lengths.length)];
}

describe('drift, periodic error and longest exposure against the truth', () => {
  test.each([
    { name: 'a worm of eight minutes, half a minute each', A: 3, P: 480, n: 24, cadence: 32, exposure: 30 },
    { name: 'two thirds of a minute each of a fast worm', A: 6, P: 160, n: 30, cadence: 45, exposure: 40 },
    { name: 'a quarter of a period each', A: 5, P: 480, n: 30, cadence: 130, exposure: 120 },
    { name: 'an hour of short ones', A: 1.5, P: 380, n: 120, cadence: 30, exposure: 20 },
  ])('$name', ({ A, P, n, cadence, exposure }) => {
    const pulls: number[] = [];
    for (let seed = 1; seed <= 5; seed++) {
      const motion = moving([0.5, -0.3], A, P, 35, seed);
      const { records } = makeRun({
        seed,
        frames: n,
        cadenceS: cadence,
        exposureS: exposure,
        motion,
        jitterPx: 0.03,
      });
      const { report } = trackRun(records);
      const { x, y } = report.driftPxPerMin;
      pulls.push(pull(x!, 0.5), pull(y!, -0.3));
      expect(Math.hypot(x!.value - 0.5, y!.value + 0.3) / Math.hypot(0.5, 0.3)).toBeLessThan(0.02);
      const found = report.periodic!;
      expect(Math.abs(found.periodS.value / P - 1)).toBeLessThan(0.03);
      expect(Math.abs(found.amplitudePx.value / A - 1)).toBeLessThan(0.05);
      expect(Math.abs(found.angleDeg.value - 35)).toBeLessThan(3);
      expect(found.falseAlarm).toBeLessThan(1e-6);
      if (seed > 1) continue;
      for (const [share, length] of [
        [0.5, report.longestExposureS!.share50],
        [0.9, report.longestExposureS!.share90],
        [0.95, report.longestExposureS!.share95],
      ] as const) {
        // The search by hand is as fine as its steps: a 1600th of the period in length, 160 starts.
        const truth = longestByHand(motion, P, 2, share);
        expect(Math.abs(length!.value / truth - 1)).toBeLessThan(0.05);
      }
    }
    // Ten values: chi 1 +- 0.22; beyond 1.8 in less than one of ten thousand.
    expect(rms(pulls)).toBeLessThan(1.8);
  });

  test('drift alone: every start bears the same length, limit over rate', () => {
    const { records } = makeRun({ seed: 3, motion: moving([0.9, -0.3]) });
    const { report, headline } = trackRun(records, { limitPx: 1.5 });
    const rate = Math.hypot(0.9, 0.3);
    for (const length of [report.longestExposureS!.share50, report.longestExposureS!.share95])
      expect(Math.abs(length!.value / ((60 * 1.5) / rate) - 1)).toBeLessThan(0.02);
    expect(report.longestExposureS!.limitPx).toBe(1.5);
    expect(report.periodic).toBeNull();
    expect(headline).toMatch(/Exposures up to 9\d s stay under 1\.5 px/);
  });

  test('harmonics: amplitude is half of peak to peak, the period that of the worm', () => {
    const motion = moving([0.2, 0.1], 2, 400, 10, 1, 0.7);
    const swing = Array.from({ length: 4000 }, (_, i) => {
      const turn = (2 * Math.PI * i) / 4000;
      return 2 * (Math.sin(turn) + 0.7 * Math.sin(2 * turn + 0.5));
    });
    const { periodic } = trackRun(makeRun({ seed: 4, frames: 60, motion }).records).report;
    expect(Math.abs(periodic!.periodS.value / 400 - 1)).toBeLessThan(0.03);
    expect(
      Math.abs(periodic!.amplitudePx.value / ((Math.max(...swing) - Math.min(...swing)) / 2) - 1),
    ).toBeLessThan(0.05);
  });

  // A sine sampled by few frames a period makes a large step nearly everywhere, and at some phases quarter of none.
  test.each([4, 6, 8, 10])('a smooth swing of %i frames a period is no row of jumps', (perPeriod) => {
    for (const [seed, phase] of [
      [1, 0],
      [2, 0.2],
      [3, Math.PI / 8],
    ]) {
      const motion = moving([0.1, 0.2], 4, 40 * perPeriod, 0, phase);
      const { records } = makeRun({ seed, frames: 48, cadenceS: 40, motion });
      const { jumps, notes, report } = trackRun(records);
      expect(jumps).toEqual([]);
      expect(notes.join(' ')).not.toMatch(/unevenly/);
      expect(Math.abs(report.periodic!.periodS.value / (40 * perPeriod) - 1)).toBeLessThan(0.03);
      expect(Math.abs(report.periodic!.amplitudePx.value / 4 - 1)).toBeLessThan(0.05);
    }
  });
  test.each([4, 8, 10])('... and a knock during an exposure is found under it, once', (perPeriod) => {
    const swing = moving([0.1, 0.2], 4, 40 * perPeriod, 0, 0.2);
    const motion: Motion = (t) => [swing(t)[0] + (t > 25.5 * 40 ? 6 : 0), swing(t)[1]];
    const { jumps, report } = trackRun(makeRun({ seed: 7, frames: 48, cadenceS: 40, motion }).records);
    expect(jumps.map(({ frame, kind }) => [frame, kind])).toEqual([[25, 'jump']]);
    expect(Math.abs(jumps[0].xPx.value - 6)).toBeLessThan(0.3);
    expect(Math.abs(report.periodic!.amplitudePx.value / 4 - 1)).toBeLessThan(0.05);
  });
  test('a place that changes to and fro at once is jumps, no swing', () => {
    const motion: Motion = (t) => [3 * (Math.floor(t / 320) % 2), t / 300];
    const { jumps, report } = trackRun(makeRun({ seed: 2, frames: 48, cadenceS: 40, motion }).records);
    expect(jumps.map(({ frame }) => frame)).toEqual([8, 16, 24, 32, 40]);
    expect(report.periodic).toBeNull();
  });

  test('what is faster than two frames is said to hide between them', () => {
    const still = trackRun(makeRun({ seed: 1 }).records);
    expect(still.hiddenBelowS).toBeCloseTo(64);
    expect(still.notes).toContain('The frames come every 32 s: a swing faster than 64 s hides between them.');
    // A swing of 20 s and 2 px: 30 s exposures are long by it, and not all alike.
    const fast = makeRun({ seed: 1, cadenceS: 33, motion: moving([0, 0], 2, 47) });
    const { notes } = trackRun(fast.records);
    expect(notes.join(' ')).toMatch(/hides between them/);
    const slow = trackRun(makeRun({ seed: 1, motion: moving([0, 0], 3, 300) }).records);
    expect(slow.notes.join(' ')).not.toMatch(/hides between/);
  });
  test('a known period that is not there is said to be missing; one shorter than two frames can be fitted', () => {
    const none = trackRun(makeRun({ seed: 4, frames: 30 }).records, { periodS: 300 });
    expect(none.report.periodic).toBeNull();
    expect(none.notes).toContain('With the period of 300 s that you gave no swing shows.');
    const motion = moving([0.5, 0], 3, 50, 20);
    const { records } = makeRun({ seed: 4, frames: 40, cadenceS: 32, exposureS: 10, motion });
    const { periodic } = trackRun(records, { periodS: 50 }).report;
    expect(Math.abs(periodic!.amplitudePx.value / 3 - 1)).toBeLessThan(0.05);
  });

  test('a period that is known is held, and found where the search is too short for it', () => {
    const { records } = makeRun({ seed: 5, frames: 18, motion: moving([0.4, 0], 4, 620, 0, 2) });
    const { periodic, driftPxPerMin } = trackRun(records, { periodS: 620 }).report;
    expect(periodic!.periodS).toEqual({ value: 620, sigma: 0 });
    expect(Math.abs(periodic!.amplitudePx.value / 4 - 1)).toBeLessThan(0.05);
    expect(Math.abs(driftPxPerMin.x!.value - 0.4)).toBeLessThan(4 * driftPxPerMin.x!.sigma + 0.008);
  });

  test('the field turns: the rate within 2 %', () => {
    const { records } = makeRun({ seed: 6, turnDeg: (t) => (t / 60) * 0.05, motion: moving([0.3, 0.1]) });
    const turn = trackRun(records).report.rotationDegPerMin!;
    expect(Math.abs(turn.value / 0.05 - 1)).toBeLessThan(0.02);
    expect(Math.abs(pull(turn, 0.05))).toBeLessThan(4);
  });
});

describe('nothing is made up', () => {
  test('no periodic error where there is none: noise, and a mount that wanders', () => {
    let claims = 0;
    const pulls: number[] = [];
    for (let seed = 1; seed <= 14; seed++) {
      const random = createRandom(900 + seed);
      const course: [number, number][] = [[0, 0]];
      for (let i = 1; i < 400; i++)
        course.push(course[i - 1].map((v) => v + 0.1 * random.normal()) as [number, number]);
      const wanders = seed % 2 === 0;
      const { records } = makeRun({
        seed,
        frames: 36,
        jitterPx: 0.08,
        motion: wanders ? (t) => course[Math.floor(t / 10)] : moving([0.2, 0.1]),
      });
      const { report } = trackRun(records);
      if (report.periodic) claims++;
      if (wanders) pulls.push(pull(report.driftPxPerMin.x!, 0), pull(report.driftPxPerMin.y!, 0));
    }
    // One run in a thousand is allowed.
    expect(claims).toBe(0);
    // A walk without a drift: its drift is its error. Fourteen values, chi 1 +- 0.19, and the memory is badly known.
    expect(rms(pulls)).toBeLessThan(2);
  });

  test('the first point of the path is exactly nought', () => {
    const { report } = trackRun(makeRun({ seed: 3, frames: 5, motion: moving([3, 1]) }).records);
    expect(report.path[0]).toEqual({ timeS: 0, xPx: 0, yPx: 0, rotationDeg: 0 });
  });

  test('without times: the path, no rates', () => {
    const { records } = makeRun({ seed: 7, frames: 6, motion: moving([2, 0]) });
    for (const { meta } of records) meta.startTime = null;
    const { report, headline } = trackRun(records);
    expect(report.used).toBe(6);
    expect(report.path.every(({ timeS }) => timeS === null)).toBe(true);
    expect(report.path[5].xPx).toBeGreaterThan(4);
    expect([
      report.driftPxPerMin,
      report.rotationDegPerMin,
      report.periodic,
      report.longestExposureS,
    ]).toEqual([{ x: null, y: null }, null, null, null]);
    expect(headline).toMatch(/none says when/);
  });

  test('one frame without a time among others is not used, and says so', () => {
    const { records } = makeRun({ seed: 8, frames: 8, motion: moving([2, 0]) });
    records[3].meta.startTime = null;
    const { report, frames } = trackRun(records);
    expect([report.frames, report.used]).toEqual([8, 7]);
    expect(frames[7]).toMatchObject({ record: 3, registration: { ok: false, why: 'no-time' } });
  });

  test('a frame with a fault is counted, not used; an empty run has no numbers', () => {
    const { records } = makeRun({ seed: 9, frames: 5 });
    records[1].report.fault = { code: 'not-a-star-field', message: 'Cloud. Wait.' };
    const { report, frames } = trackRun(records);
    expect([report.frames, report.used, report.path.length]).toEqual([5, 4, 4]);
    expect(frames[1].registration).toMatchObject({ ok: false, sentence: 'Cloud. Wait.' });
    expect(trackRun([]).report).toMatchObject({ frames: 0, used: 0, path: [], periodic: null });
  });

  test('times of mid-exposure count when exposures differ; any order of the files', () => {
    const { records } = makeRun({ seed: 10, frames: 6, cadenceS: 60, exposureS: 30 });
    records[2].report.frame!.exposureS = 10;
    const { path } = trackRun([...records].reverse()).report;
    expect(path.map(({ timeS }) => timeS)).toEqual([0, 60, 110, 180, 240, 300]);
  });
});

describe('what is no drift is taken out of it', () => {
  const base = moving([0.5, 0.2], 2, 400, 10, 1);
  const check = ({ report }: SeriesResult, drift = 0.04) => {
    const { x, y } = report.driftPxPerMin;
    expect(Math.hypot(x!.value - 0.5, y!.value - 0.2)).toBeLessThan(drift * Math.hypot(0.5, 0.2));
    expect(Math.abs(report.periodic!.amplitudePx.value / 2 - 1)).toBeLessThan(0.05);
  };

  test('a jump between two frames and one within an exposure', () => {
    for (const at of [351.5, 338]) {
      const motion: Motion = (t) => base(t).map((v, i) => v + (t > at ? [6, -4][i] : 0)) as [number, number];
      const result = trackRun(makeRun({ seed: 11, frames: 40, motion }).records);
      check(result);
      const whole = result.jumps.reduce(
        (sum, { xPx, yPx }) => [sum[0] + xPx.value, sum[1] + yPx.value],
        [0, 0],
      );
      expect(Math.hypot(whole[0] - 6, whole[1] + 4)).toBeLessThan(0.3);
      expect(result.jumps.every(({ kind }) => kind === 'jump')).toBe(true);
    }
  });

  test('nudges every third frame', () => {
    const random = createRandom(77);
    const nudges = Array.from({ length: 40 }, () => [15 * random.normal(), 15 * random.normal()]);
    const motion: Motion = (t) =>
      base(t).map((v, i) => v + nudges[Math.floor(t / 96)][i]) as [number, number];
    const result = trackRun(makeRun({ seed: 12, frames: 48, motion }).records);
    check(result, 0.1);
    expect(result.jumps.filter(({ kind }) => kind === 'dither').length).toBeGreaterThan(10);
  });

  test('nudges with every frame: the drift says how little it knows', () => {
    const random = createRandom(78);
    const nudges = Array.from({ length: 40 }, () => [15 * random.normal(), 15 * random.normal()]);
    const motion: Motion = (t) =>
      base(t).map((v, i) => v + nudges[Math.floor(t / 32)][i]) as [number, number];
    const { x, y } = trackRun(makeRun({ seed: 13, frames: 40, motion }).records).report.driftPxPerMin;
    expect(Math.abs(pull(x!, 0.5))).toBeLessThan(4);
    expect(Math.abs(pull(y!, 0.2))).toBeLessThan(4);
    expect(x!.sigma).toBeGreaterThan(0.2);
  });

  test('the other side of the pier, and a mirror put in', () => {
    const flipped = trackRun(makeRun({ seed: 14, frames: 40, flipAt: 20, motion: base }).records);
    check(flipped);
    expect(flipped.jumps).toMatchObject([{ frame: 20, kind: 'flip' }]);
    expect(Math.abs(Math.abs(flipped.report.path[30].rotationDeg) - 180)).toBeLessThan(0.1);
    check(
      trackRun(makeRun({ seed: 15, frames: 40, mirrored: (frame) => frame >= 20, motion: base }).records),
    );
  });
});

describe('what the frames leave open is not told', () => {
  // A creep that grows with the fourth power of time is neither drift nor bend, and half a slow wave looks like it.
  test.each([10, 12, 16])('a creep of %i frames is no swing', (frames) => {
    for (const positionSigmaPx of [0.0001, 0.02]) {
      const { records } = makeRun({
        seed: 1,
        frames,
        motion: (t) => [1e-9 * t ** 4, 0.01 * t],
        jitterPx: 0,
        positionSigmaPx,
        missing: 0,
        extra: 0,
      });
      const { report, notes } = trackRun(records);
      const swing = report.periodic?.amplitudePx;
      expect(swing === undefined || swing.value > 3 * swing.sigma).toBe(true);
      expect(notes.join(' ')).not.toMatch(/about \d{4}/);
    }
  });
  test('the same frame over and over has no drift, and says so in a number that can be read', () => {
    for (const frames of [6, 24]) {
      const { records } = makeRun({ seed: 5, frames });
      const same = records.map(({ meta }) => ({ ...records[0], meta }));
      const { report, notes } = trackRun(same);
      expect(report.periodic).toBeNull();
      expect(notes.join(' ')).toMatch(/No steady drift: less than 0\.\d{1,4} px a minute/);
    }
  });
});
