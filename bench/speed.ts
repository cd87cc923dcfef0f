import { spawnSync } from 'node:child_process';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { writeFits16 } from '../workers/simulate/fits.ts';
import { loadKernels } from '../workers/wasm/kernels.ts';
import { loadPlane } from './pipeline.ts';
import { Reference } from './reference.ts';
import { timeFeatures, UNITS_PER_ELECTRON, type FeatureTimes } from './speed/features.ts';
import { measureForMemory, printMemory } from './speed/memory.ts';
import { printDrop } from './speed/on-page.ts';
import { starField } from './star-field.ts';
import { median } from './statistics.ts';

const SIZES: [megapixels: number, stars: number][] = [
  [2, 500],
  [9, 2000],
  [26, 5000],
];
const ROUNDS = 9;

/** What sep takes: Background, extract, then flux_radius and winpos. */
interface SepTimes {
  background: number;
  detect: number;
  measure: number;
  stars: number;
}
const whole = ({ background, detect, measure }: SepTimes) => background + detect + measure;

interface Round {
  ours: FeatureTimes;
  sep: SepTimes;
}

/**
 * `npm run bench -- speed [megapixels]`: what each feature costs from a loaded frame to the star table, as a ratio to all
 * that sep does (Background, extract, flux_radius, winpos) on the same frame, rounds in turn, both on one core; memory of
 * the whole command beyond the file's size; and from the drop of the largest frame on the page to its star table.
 */
export async function run([mode, file]: string[]): Promise<void> {
  if (mode === 'memory-of') return measureForMemory(file);
  const folder = mkdtempSync(join(tmpdir(), 'speed-'));
  const reference = new Reference(join(process.cwd(), 'bench/sep_reference.py'));
  const kernels = await loadKernels();
  for (const pid of [process.pid, reference.pid]) spawnSync('taskset', ['-cp', '0', String(pid)]);
  const sizes = SIZES.filter(([megapixels]) => !mode || megapixels === Number(mode));
  for (const [megapixels, stars] of sizes) {
    const frame = starField(megapixels, stars, megapixels);
    const job = {
      file: join(folder, `frame${megapixels}.raw`),
      width: frame.widthPx,
      height: frame.heightPx,
    };
    writeFileSync(job.file, new Uint8Array(frame.pixels.buffer));
    const mark = kernels.arena.mark();
    const plane = loadPlane(kernels, frame);
    const rounds: Round[] = [];
    for (let round = 0; round <= ROUNDS; round++) {
      const ours = timeFeatures(plane, kernels);
      const sep = await reference.ask<SepTimes>(job);
      if (round > 0) rounds.push({ ours, sep }); // the first warms up both
    }
    kernels.arena.reset(mark);
    printFeatures(megapixels, rounds);
    const fits = join(folder, `frame${megapixels}.fits`);
    writeFileSync(
      fits,
      writeFits16(frame.pixels, frame.widthPx, frame.heightPx, [['EGAIN', UNITS_PER_ELECTRON]]),
    );
    printMemory(fits, folder, frame.pixels.byteLength);
    if (megapixels === sizes.at(-1)![0])
      await printDrop(fits, async () => whole(await reference.ask<SepTimes>(job)));
  }
  reference.close();
  rmSync(folder, { recursive: true });
}

function printFeatures(megapixels: number, rounds: Round[]): void {
  const [{ ours, sep }] = rounds;
  console.log(`\n${megapixels} MP: ${ours.found} stars, sep ${sep.stars}; sep takes`);
  const took = (pick: (sep: SepTimes) => number) =>
    `${median(rounds.map((round) => pick(round.sep))).toFixed(0)} ms`;
  console.log(
    `  ${took(whole)}: background ${took((s) => s.background)}, extract ${took((s) => s.detect)}, flux_radius and winpos ${took((s) => s.measure)}`,
  );
  console.log('  feature | ms | share of all that sep does | ratio to the stage of sep that does the like');
  const row = (
    what: string,
    pick: (ours: FeatureTimes) => number,
    like?: (sep: SepTimes) => number,
    goal = '',
  ) => {
    const ratio = (to: (sep: SepTimes) => number) =>
      median(rounds.map((round) => pick(round.ours) / to(round.sep))).toFixed(3);
    const ms = median(rounds.map((round) => pick(round.ours))).toFixed(1);
    console.log(`  ${what} | ${ms} | ${ratio(whole)}${goal} | ${like ? ratio(like) : ''}`);
  };
  const measuring = (o: FeatureTimes) => o.firstFits + o.stars + o.judging + o.calibration;
  row(
    'sky mesh',
    (o) => o.sky,
    (s) => s.background,
  );
  row(
    'detection',
    (o) => o.detection,
    (s) => s.detect,
  );
  row('pixels and adaptive moments, no fits', (o) => o.moments);
  row('half-flux, rms size, third moments, no fits', (o) => o.growth);
  row('= a table without fits', (o) => o.sky + o.detection + o.moments + o.growth, undefined, ' (goal 0.10)');
  row('what the stars share: wings, background, halo', (o) => o.firstFits);
  row('fits, half-flux, third moments of all', (o) => o.stars);
  row('judging against neighbours', (o) => o.judging);
  row('calibration by mean residuals', (o) => o.calibration);
  row('measuring in all', measuring, (s) => s.measure);
  row('= the table as the page has it, fits of all', (o) => o.sky + o.detection + measuring(o));
  row(
    `= with fits of the ${ours.foundBright} of SNR over 20 alone`,
    (o) => o.sky + o.detection + o.brightOnly,
    undefined,
    ' (goal 0.20)',
  );
}
