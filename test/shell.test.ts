// The built shell command as a capture script would call it. `npm test` builds it first.
import { spawnSync } from 'node:child_process';
import { existsSync, mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { gzipSync } from 'node:zlib';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { analyticFrame } from '../workers/simulate/analytic.ts';
import { writeFits16 } from '../workers/simulate/fits.ts';
import { reportProblems } from './support/contract.ts';
import { scatter } from './support/star-frames.ts';

const command = fileURLToPath(new URL('../dist/shell/measure.js', import.meta.url));
let folder: string;

const scene = {
  profile: 'moffat' as const,
  fwhmPx: 3,
  widthPx: 400,
  heightPx: 300,
  skyElectrons: 80,
  readNoiseElectrons: 2,
  gainElectronsPerAdu: 1,
  offsetAdu: 400,
  seed: 2,
};

beforeAll(() => {
  if (!existsSync(command)) throw new Error('Build the shell command first: npm run build:shell');
  folder = mkdtempSync(join(tmpdir(), 'cornerwise-'));
  const stars = scatter(45, 400, 300, 32, 15, 3).map((place) => ({ ...place, fluxElectrons: 20_000 }));
  const { pixels } = analyticFrame({ ...scene, stars });
  const good = writeFits16(pixels, 400, 300, [
    ['EGAIN', 1],
    ['EXPTIME', 20],
    ['FOCALLEN', 800],
    ['XPIXSZ', 4],
  ]);
  writeFileSync(join(folder, 'stars.fits'), good);
  writeFileSync(join(folder, 'packed.fits.gz'), gzipSync(good));
  // Two pictures in one file (FITS 4.0, 3.4.1): the second header begins with XTENSION instead of SIMPLE.
  const extension = good.slice();
  extension.set(Buffer.from("XTENSION= 'IMAGE   '".padEnd(80)));
  writeFileSync(join(folder, 'two.fits'), Buffer.concat([good, extension]));
  mkdirSync(join(folder, 'night one'));
  writeFileSync(join(folder, 'night one', 'stars 2.fits'), good);
  writeFileSync(
    join(folder, 'dark.fits'),
    writeFits16(analyticFrame({ ...scene, stars: [] }).pixels, 400, 300, [['EGAIN', 1]]),
  );
  writeFileSync(join(folder, 'letter.txt'), 'Dear Sir or Madam, this is no frame.\n'.repeat(200));
  writeFileSync(join(folder, 'cut.fits'), good.subarray(0, good.length / 2));
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

/** Runs the command in the root folder with INIT_CWD set to the frames' folder, as npm does. */
function measure(...words: string[]) {
  const { status, stdout, stderr } = spawnSync(process.execPath, [command, ...words], {
    encoding: 'utf8',
    cwd: '/',
    env: { ...process.env, INIT_CWD: folder },
    timeout: 50_000,
  });
  return { status, stdout, stderr };
}

/** Standard output as objects; fails where a line is anything else. */
const objects = (stdout: string) => {
  expect(stdout.endsWith('\n')).toBe(true);
  return stdout
    .trimEnd()
    .split('\n')
    .map(
      (line) => JSON.parse(line) as Record<string, unknown> & { fault: { code: string; message: string } },
    );
};

describe('--json', () => {
  test('one object per file with every field of the contract, nothing else on standard output', () => {
    const { status, stdout } = measure('--json', '--stars', '--no-fit', 'stars.fits', 'packed.fits.gz');
    expect(status).toBe(0);
    const reports = objects(stdout);
    expect(reports).toHaveLength(2);
    for (const report of reports) {
      expect(reportProblems(report)).toEqual([]);
      expect(report).toMatchObject({
        format: 1,
        fault: null,
        stars: { measured: 45, saturated: 0 },
        frame: {
          widthPx: 400,
          heightPx: 300,
          mosaic: null,
          exposureS: 20,
          pixelSizeUm: 4,
          focalLengthMm: 800,
        },
        model: null,
        budget: null,
        causes: null,
      });
      // 206.264806 x 4 um / 800 mm
      expect((report.frame as { arcsecPerPx: number }).arcsecPerPx).toBeCloseTo(1.031324, 6);
      expect(report.list).toHaveLength(45);
    }
    expect(reports.map(({ file }) => file)).toEqual(['stars.fits', 'packed.fits.gz']);
    expect({ ...reports[1], file: '' }).toEqual({ ...reports[0], file: '' });
  });

  test('with the fit of the field every part of it is in the contract too', () => {
    const { status, stdout } = measure('--json', '--aperture', '160', 'stars.fits');
    expect(status).toBe(0);
    const [report] = objects(stdout);
    expect(reportProblems(report)).toEqual([]);
    expect(report.model).not.toBeNull();
    expect(report.verdict).not.toBeNull();
    const shares = (report.budget as { variancePx2: Record<string, number> }[]).map(
      ({ variancePx2 }) => variancePx2,
    );
    // The parts sum to the total.
    for (const { total, ...parts } of shares)
      expect(Math.abs(Object.values(parts).reduce((sum, part) => sum + part, 0) / total - 1)).toBeLessThan(
        0.01,
      );
  });

  test('the list of stars only with --stars', () => {
    const [report] = objects(measure('--json', '--no-fit', 'stars.fits').stdout);
    expect(report).not.toHaveProperty('list');
    expect(reportProblems(report)).toEqual([]);
  });

  test('files are looked for in the folder of the caller; absolute names and blanks work too', () => {
    const { status, stdout } = measure(
      '--json',
      '--no-fit',
      'night one/stars 2.fits',
      join(folder, 'stars.fits'),
    );
    expect(status).toBe(0);
    expect(objects(stdout).map(({ file }) => file)).toEqual([
      'night one/stars 2.fits',
      join(folder, 'stars.fits'),
    ]);
  });

  test('options override the header', () => {
    const words = ['--focal-length', '400', '--aperture=80', '--obstruction', '0', '--pixel', '2.9'];
    const [report] = objects(measure('--json', '--no-fit', ...words, 'stars.fits').stdout);
    expect(report.frame).toMatchObject({
      focalLengthMm: 400,
      apertureMm: 80,
      obstruction: 0,
      pixelSizeUm: 2.9,
    });
    expect((report.frame as { arcsecPerPx: number }).arcsecPerPx).toBeCloseTo((206.264806 * 2.9) / 400, 6);
  });
});

describe('what a file cannot say', () => {
  test('exposure and colour filters are told by options, which win over the header', () => {
    const words = ['--json', '--no-fit', '--exposure', '7.5', '--mosaic', 'grbg', 'stars.fits'];
    const [report] = objects(measure(...words).stdout);
    expect(report.frame).toMatchObject({ exposureS: 7.5, mosaic: 'GRBG' });
  });

  test('of several pictures the chosen one is measured; one that is not there is a fault', () => {
    const choose = (picture: string) => {
      const { stdout, status } = measure('--json', '--no-fit', '--picture', picture, 'two.fits');
      return { status, report: objects(stdout)[0] };
    };
    const second = choose('2');
    expect(second).toMatchObject({ status: 0, report: { fault: null, stars: { measured: 45 } } });
    expect((second.report.warnings as string[]).join()).toMatch(/2 pictures.*number 2 was read/);
    const fault = { code: 'no-image', message: 'two.fits has no picture number 5. It has pictures at 1, 2.' };
    expect(choose('5')).toMatchObject({ status: 1, report: { fault } });
  });
});

test('with read noise told the readable report says how long a sub the sky asks for', () => {
  const { stdout } = measure('--no-fit', '--read-noise', '2', 'stars.fits');
  // Drawn: 80 electrons of sky in 20 s, 4 a second; t = R² / (B [(1 + p)² - 1]) = 4 / (4 · 0.1025) = 9.76 s (Newberry 1991).
  const [, perS, seconds] = /sky gives ([\d.]+) electrons.*subs of ([\d.]+) s/.exec(stdout)!.map(Number);
  expect(Math.abs(perS / 4 - 1)).toBeLessThan(0.1);
  expect(Math.abs(seconds / 9.76 - 1)).toBeLessThan(0.1);
  expect(measure('--no-fit', 'stars.fits').stdout).not.toContain('The sky gives');
});

describe('faults', () => {
  test('a frame that fails does not stop the others; the status is 1 and every file has its object', () => {
    const files = [
      'stars.fits',
      'missing.fits',
      'night one',
      'letter.txt',
      'cut.fits',
      'dark.fits',
      'packed.fits.gz',
    ];
    const { status, stdout } = measure('--json', '--no-fit', ...files);
    expect(status).toBe(1);
    const reports = objects(stdout);
    expect(reports.map(({ file }) => file)).toEqual(files);
    for (const report of reports) expect(reportProblems(report)).toEqual([]);
    expect(reports.map(({ fault }) => fault?.code ?? null)).toEqual([
      null,
      'cannot-read',
      'cannot-read',
      'not-a-frame',
      'damaged',
      'too-few-stars',
      null,
    ]);
    for (const { fault } of reports.filter((report) => report.fault)) {
      // A sentence, not the words of a programme.
      expect(fault.message).toMatch(/^\S.{20,}[.*]\S*$/);
      expect(fault.message).not.toMatch(/ENOENT|EISDIR|undefined|NaN|\bError\b/);
    }
  });
});

describe('wrong usage', () => {
  test.each([
    [['--json'], /file/i],
    [['--jason', 'stars.fits'], /jason/],
    [['--focal-length', 'long', 'stars.fits'], /focal-length.*"long"/],
    [['--obstruction', '1.5', 'stars.fits'], /obstruction.*1\.5/],
    [['--pixel', '-3', 'stars.fits'], /pixel/],
    [['--pixel'], /pixel/],
    [['--mosaic', 'RGB', 'stars.fits'], /mosaic.*"RGB"/],
    [['--picture', '1.5', 'stars.fits'], /picture.*whole.*1\.5/],
    [['--exposure', '0', 'stars.fits'], /exposure.*"0"/],
  ])(
    '%j: status 2, the sentence and the usage on standard error, nothing on standard output',
    (words, says) => {
      const { status, stdout, stderr } = measure(...words);
      expect(status).toBe(2);
      expect(stdout).toBe('');
      expect(stderr).toMatch(says);
      expect(stderr).toMatch(/Usage:/);
    },
  );
});

describe('for a person', () => {
  test('the report says what was found in plain text without colour codes', () => {
    const { status, stdout } = measure('--no-fit', 'stars.fits');
    expect(status).toBe(0);
    expect(stdout).toMatch(/^stars\.fits\n/);
    expect(stdout).toMatch(/400 x 300 px, 20 s, 1\.03″\/px, 45 stars/);
    expect(stdout).toMatch(/FWHM 3\.\d\d ± 0\.\d\d px .*centre.*corners/);
    expect(stdout).not.toContain('\x1b');
    for (const line of stdout.split('\n')) expect(line.length).toBeLessThan(160);
    expect(() => JSON.parse(stdout) as unknown).toThrow();
  });

  test('with --stars one line per star', () => {
    const { stdout } = measure('--no-fit', '--stars', 'stars.fits');
    const rows = stdout.split('\n').filter((line) => /^\s*\d+\.\d\s+\d+\.\d\s/.test(line));
    expect(rows).toHaveLength(45);
  });

  test('a fault is told in its sentence', () => {
    const { status, stdout } = measure('--no-fit', 'missing.fits');
    expect(status).toBe(1);
    expect(stdout).toMatch(/does not exist/);
  });
});
