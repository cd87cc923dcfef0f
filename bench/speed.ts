import { spawnSync } from 'node:child_process';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { nodeSource } from '../bin/node-source.ts';
import { FrameSession } from '../workers/session.ts';
import { writeFits16 } from '../workers/simulate/fits.ts';
import { loadKernels } from '../workers/wasm/kernels.ts';
import { loadPlane, measurePlane, type StageTimes } from './pipeline.ts';
import { Reference } from './reference.ts';
import { starField } from './star-field.ts';
import { median } from './statistics.ts';

const SIZES: [megapixels: number, stars: number][] = [
  [2, 500],
  [9, 2000],
  [26, 5000],
];
const ROUNDS = 7;
const STAGES = ['background', 'detect', 'measure'] as const;

/**
 * `npm run bench -- speed`: a loaded frame to a star table, against sep (Background, extract, flux_radius, winpos) on
 * the same frame, rounds in turn, both on one core; then the memory of the whole command beyond the file's size.
 */
export async function run([mode, file]: string[]): Promise<void> {
  if (mode === 'memory-of') return measureForMemory(file);
  const folder = mkdtempSync(join(tmpdir(), 'speed-'));
  const reference = new Reference(join(process.cwd(), 'bench/sep_reference.py'));
  const kernels = await loadKernels();
  for (const pid of [process.pid, reference.pid]) spawnSync('taskset', ['-cp', '0', String(pid)]);
  console.log('frame | stage | ours ms | sep ms | ratio');
  for (const [megapixels, stars] of SIZES) {
    const frame = starField(megapixels, stars, megapixels);
    const job = {
      file: join(folder, `frame${megapixels}.raw`),
      width: frame.widthPx,
      height: frame.heightPx,
    };
    writeFileSync(job.file, new Uint8Array(frame.pixels.buffer));
    const mark = kernels.arena.mark();
    const plane = loadPlane(kernels, frame);
    const ours: StageTimes[] = [];
    const theirs: (StageTimes & { stars: number })[] = [];
    let found = 0;
    for (let round = 0; round <= ROUNDS; round++) {
      const { measurement, timeMs } = measurePlane(plane, 1, kernels);
      const other = await reference.ask<StageTimes & { stars: number }>(job);
      found = measurement.stars.length;
      if (round === 0) continue; // the first warms up both
      ours.push(timeMs);
      theirs.push(other);
    }
    kernels.arena.reset(mark);
    for (const stage of STAGES)
      print(
        `${megapixels} MP | ${stage}`,
        ours.map((t) => t[stage]),
        theirs.map((t) => t[stage]),
      );
    const total = (t: StageTimes) => t.background + t.detect + t.measure;
    print(
      `${megapixels} MP | all (${found} stars, sep ${theirs[0].stars})`,
      ours.map(total),
      theirs.map(total),
    );
    const fits = join(folder, `frame${megapixels}.fits`);
    writeFileSync(fits, writeFits16(frame.pixels, frame.widthPx, frame.heightPx));
    memory(fits, folder, frame.pixels.byteLength);
  }
  reference.close();
  rmSync(folder, { recursive: true });
}

function print(what: string, ours: number[], theirs: number[]): void {
  const ratio = median(ours.map((value, i) => value / theirs[i]));
  console.log(`${what} | ${median(ours).toFixed(1)} | ${median(theirs).toFixed(1)} | ${ratio.toFixed(3)}`);
}

/** Largest memory of a process that measures the file, less that of one that measures a tiny one, over the pixels. */
function memory(fits: string, folder: string, pixelBytes: number): void {
  const tiny = join(folder, 'tiny.fits');
  const small = starField(0.1, 20, 1);
  writeFileSync(tiny, writeFits16(small.pixels, small.widthPx, small.heightPx));
  const kilobytes = [fits, tiny].map((file) => {
    const words = [process.argv[1], 'speed', 'memory-of', file];
    return Number(spawnSync(process.execPath, words, { encoding: 'utf8' }).stdout);
  });
  const more = (kilobytes[0] - kilobytes[1]) * 1024;
  console.log(
    `memory: ${(more / 1e6).toFixed(0)} MB more than for a tiny frame, ${(more / pixelBytes).toFixed(2)} times the file`,
  );
}

async function measureForMemory(file: string): Promise<void> {
  const session = new FrameSession(await loadKernels());
  const source = await nodeSource(file);
  if (!source.ok) throw new Error(source.fault.message);
  await session.measure(source.value, { rig: {} });
  console.log(String(process.resourceUsage().maxRSS));
}
