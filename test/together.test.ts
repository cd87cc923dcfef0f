// Several frames of one poor field through the built shell command. `npm test` builds it first.
import { spawnSync } from 'node:child_process';
import { existsSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import type { Estimate } from '../workers/protocol/report.ts';
import type { TogetherReport } from '../workers/protocol/together.ts';
import { reportProblems } from './support/contract.ts';
import { poorFrames, TILT_UM_PER_MM, TRAILS_UM } from './support/poor-frames.ts';

const command = fileURLToPath(new URL('../dist/shell/measure.js', import.meta.url));
const PIXEL_UM = 3.8;
let folder: string;

beforeAll(() => {
  if (!existsSync(command)) throw new Error('Build the shell command first: npm run build:shell');
  folder = mkdtempSync(join(tmpdir(), 'cornerwise-together-'));
  poorFrames(3).forEach((bytes, i) => writeFileSync(join(folder, `${'abc'[i]}.fits`), bytes));
  writeFileSync(join(folder, 'copy.fits'), poorFrames(1)[0]);
  writeFileSync(join(folder, 'elsewhere.fits'), poorFrames(1, 24, true)[0]);
}, 60_000);
afterAll(() => rmSync(folder, { recursive: true, force: true }));

function together(...words: string[]) {
  return spawnSync(process.execPath, [command, '--together', ...words], {
    encoding: 'utf8',
    cwd: '/',
    env: { ...process.env, INIT_CWD: folder },
    timeout: 240_000,
  });
}

describe('--together', { timeout: 240_000 }, () => {
  // Truth: what the simulator was told (test/support/poor-frames.ts).
  test(
    'one object per file as ever, then what all say: optics shared, movement each; strangers are named',
    { timeout: 240_000 },
    () => {
      const { status, stdout } = together(
        '--json',
        'a.fits',
        'b.fits',
        'c.fits',
        'copy.fits',
        'elsewhere.fits',
      );
      expect(status).toBe(0);
      const lines = stdout
        .trimEnd()
        .split('\n')
        .map((line) => JSON.parse(line) as Record<string, unknown>);
      expect(lines).toHaveLength(6);
      for (const report of lines.slice(0, 5)) expect(reportProblems(report)).toEqual([]);
      const said = lines[5].together as TogetherReport & { fault: null };
      expect(said.fault).toBeNull();
      expect(said.used).toBe(3);
      expect(said.frames.map(({ leftOut }) => leftOut === null)).toEqual([true, true, true, false, false]);
      expect(said.frames[3].leftOut).toContain('the same exposure as a.fits');
      expect(said.frames[4].leftOut).toMatch(/another field/);
      // Optics: within four standard errors of the truth; one sign is hidden (a pupil that is the same from both sides).
      const { x, y } = said.optics.tiltUmPerMm as { x: Estimate; y: Estimate };
      const sign = Math.sign(x.value * TILT_UM_PER_MM.x);
      expect(Math.abs(sign * x.value - TILT_UM_PER_MM.x)).toBeLessThan(4 * x.sigma);
      expect(Math.abs(sign * y.value - TILT_UM_PER_MM.y)).toBeLessThan(4 * y.sigma);
      expect(x.sigma).toBeLessThan(4);
      said.frames.slice(0, 3).forEach(({ together: own }, i) => {
        expect(own!.model!.tiltUmPerMm.x).toEqual(x);
        const truthPx = Math.hypot(TRAILS_UM[i].x, TRAILS_UM[i].y) / PIXEL_UM;
        const { path, lengthPx } = own!.model!.motion;
        // A trail that is short beside the star's width may be left out.
        if (truthPx > 1.5) expect(path).not.toBe('none');
        if (path !== 'none')
          expect(Math.abs(lengthPx!.value - truthPx)).toBeLessThan(Math.max(4 * lengthPx!.sigma, 0.3));
      });
      expect(said.verdict.cause).toBe('tilt');
      const total = said.budget.find(({ where }) => where === 'corners')!.variancePx2;
      const { total: whole, ...parts } = total;
      expect(Object.values(parts).reduce((sum, part) => sum + part, 0) / whole).toBeCloseTo(1, 2);
    },
  );

  test('to read: the verdict, a line for each frame, what all share', () => {
    const { status, stdout } = together('a.fits', 'b.fits');
    expect(status).toBe(0);
    expect(stdout).toMatch(/^2 frames together\n/);
    expect(stdout).toMatch(/the optics, the same in all/);
    expect(stdout).toMatch(/a\.fits/);
  });

  test('frames that do not belong together end in a sentence', () => {
    const { status, stdout } = together('--json', 'a.fits', 'elsewhere.fits');
    expect(status).toBe(1);
    const last = JSON.parse(stdout.trimEnd().split('\n').at(-1)!) as {
      together: { fault: { message: string } };
    };
    expect(last.together.fault.message).toMatch(/elsewhere\.fits: .*another field.*No two frames/);
  });

  test('one file, a run, or no fit are wrong usage', () => {
    for (const words of [['a.fits'], ['--series', 'a.fits', 'b.fits'], ['--no-fit', 'a.fits', 'b.fits']]) {
      const { status, stderr } = together(...words);
      expect(status).toBe(2);
      expect(stderr).toMatch(/--together/);
    }
  });
});
