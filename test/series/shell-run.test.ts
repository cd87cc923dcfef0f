// A run of frames through the built shell command: pixels, files, numbers and signs. `npm test` builds it first.
import { spawnSync } from 'node:child_process';
import { existsSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { analyticFrame } from '../../workers/simulate/analytic.ts';
import { writeFits16 } from '../../workers/simulate/fits.ts';
import type { SeriesReport } from '../../workers/protocol/series.ts';
import { reportProblems, seriesProblems } from '../support/contract.ts';
import { renderRun } from './rendered.ts';

const command = fileURLToPath(new URL('../../dist/shell/measure.js', import.meta.url));
const FRAMES = 14;
const EXPOSURE_S = 20;
const CADENCE_S = 30;
const AMPLITUDE_PX = 2.5;
const PERIOD_S = 170;
const ANGLE = (40 * Math.PI) / 180;
const motion = (t: number): [number, number] => {
  const swing = AMPLITUDE_PX * Math.sin((2 * Math.PI * t) / PERIOD_S + 1);
  return [(0.8 * t) / 60 + swing * Math.cos(ANGLE), (-0.3 * t) / 60 + swing * Math.sin(ANGLE)];
};
let folder: string;
/** Names in no order: the run is put in order of time. */
const names = Array.from({ length: FRAMES }, (_, i) => `${'qwertzuiopasdf'[i]}.fits`);

beforeAll(() => {
  if (!existsSync(command)) throw new Error('Build the shell command first: npm run build:shell');
  folder = mkdtempSync(join(tmpdir(), 'cornerwise-run-'));
  const files = renderRun({
    frames: FRAMES,
    cadenceS: CADENCE_S,
    exposureS: EXPOSURE_S,
    widthPx: 400,
    heightPx: 320,
    stars: 22,
    motion,
    startTime: '2026-10-17T21:00:00Z',
    seed: 11,
  });
  files.forEach((bytes, i) => writeFileSync(join(folder, names[i]), bytes));
  const covered = analyticFrame({
    profile: 'moffat',
    fwhmPx: 3,
    widthPx: 400,
    heightPx: 320,
    skyElectrons: 80,
    readNoiseElectrons: 2,
    gainElectronsPerAdu: 1,
    offsetAdu: 400,
    stars: [],
    seed: 2,
  });
  writeFileSync(
    join(folder, 'covered.fits'),
    writeFits16(covered.pixels, 400, 320, [
      ['DATE-OBS', '2026-10-17T21:02:10'],
      ['EXPTIME', EXPOSURE_S],
      ['EGAIN', 1],
    ]),
  );
  writeFileSync(join(folder, 'letter.txt'), 'Dear Sir or Madam, this is no frame.\n'.repeat(200));
}, 200_000);
afterAll(() => rmSync(folder, { recursive: true, force: true }));

function measure(...words: string[]) {
  const { status, stdout, stderr } = spawnSync(process.execPath, [command, ...words], {
    encoding: 'utf8',
    cwd: '/',
    env: { ...process.env, INIT_CWD: folder },
    timeout: 100_000,
  });
  return { status, stdout, stderr };
}
const everything = () => [...names].sort().concat('letter.txt', 'covered.fits');

describe('--series --json', () => {
  test('the frames in order of time, then the run with every field of the contract, true to the motion', () => {
    const { status, stdout } = measure('--series', '--json', '--no-fit', ...everything());
    expect(status).toBe(1);
    const objects = stdout
      .trimEnd()
      .split('\n')
      .map((line) => JSON.parse(line) as { file: string; series: SeriesReport });
    const last = objects.pop()!;
    expect(seriesProblems(last)).toEqual([]);
    expect(objects.flatMap((each) => reportProblems(each))).toEqual([]);
    const inTime = [...names];
    inTime.splice(5, 0, 'covered.fits'); // taken at 130 s; the fifth frame began at 120 s
    expect(objects.map(({ file }) => file)).toEqual([...inTime, 'letter.txt']);

    const run = last.series;
    expect([run.kind, run.frames, run.used, run.focus]).toEqual(['tracking', FRAMES + 2, FRAMES, null]);
    expect(run.path.map(({ timeS }) => timeS)).toEqual(names.map((_, i) => i * CADENCE_S));
    const meanOf = (frame: number, axis: 0 | 1) => {
      const moments = Array.from(
        { length: 500 },
        (_, k) => frame * CADENCE_S + (EXPOSURE_S * (k + 0.5)) / 500,
      );
      return moments.reduce((sum, t) => sum + motion(t)[axis], 0) / 500;
    };
    run.path.forEach(({ xPx, yPx }, i) => {
      // Twenty stars of 0.02 px each, both frames: 0.01 px; trails and centroids 0.02 px.
      expect(Math.abs(xPx - (meanOf(i, 0) - meanOf(0, 0)))).toBeLessThan(0.06);
      expect(Math.abs(yPx - (meanOf(i, 1) - meanOf(0, 1)))).toBeLessThan(0.06);
    });
    // Demands on the numbers: drift 2 %, period 3 %, amplitude 5 %.
    expect(Math.abs(run.driftPxPerMin.x!.value - 0.8)).toBeLessThan(0.02 * 0.85);
    expect(Math.abs(run.driftPxPerMin.y!.value + 0.3)).toBeLessThan(0.02 * 0.85);
    expect(Math.abs(run.periodic!.periodS.value / PERIOD_S - 1)).toBeLessThan(0.03);
    expect(Math.abs(run.periodic!.amplitudePx.value / AMPLITUDE_PX - 1)).toBeLessThan(0.05);
    expect(Math.abs(run.periodic!.angleDeg.value - 40)).toBeLessThan(2);
    expect(Math.abs(run.rotationDegPerMin!.value)).toBeLessThan(0.01);
  });

  test('one frame is a run of one: no rates, nothing made up', () => {
    const { status, stdout } = measure('--series', '--json', '--no-fit', names[0]);
    expect(status).toBe(0);
    const { series } = JSON.parse(stdout.trimEnd().split('\n').pop()!) as { series: SeriesReport };
    expect(seriesProblems({ series })).toEqual([]);
    expect(series).toMatchObject({
      frames: 1,
      used: 1,
      driftPxPerMin: { x: null, y: null },
      rotationDegPerMin: null,
      periodic: null,
      longestExposureS: null,
    });
  });
});

test('for a person: what to do, the figures, one line per frame', () => {
  const { stdout, stderr } = measure('--series', '--no-fit', ...everything());
  expect(stdout).toMatch(/^16 frames, 14 used\n/);
  expect(stdout).toMatch(/px of trailing|is lost at/);
  expect(stdout).toMatch(/periodic error +2\.\d+ ± 0\.\d+ px to either side every 1[67]\d/);
  expect(stdout).toMatch(/swing to and fro, about 2(\.\d)? px to either side every 1[67]\d s/);
  expect(stdout.split('\n').filter((line) => /^ +[-\d.]+ .*\.(fits|txt)/.test(line))).toHaveLength(
    FRAMES + 2,
  );
  expect(stdout).toMatch(/covered\.fits {2}not used: /);
  expect(stdout).not.toMatch(/NaN|undefined|null/);
  expect(stderr).toContain('16 of 16');
});

test('a step of the focuser must have a length', () => {
  const { status, stderr } = measure('--series', '--focus-um-per-step', '0', names[0]);
  expect(status).toBe(2);
  expect(stderr).toMatch(/focus-um-per-step must not be 0/);
});
