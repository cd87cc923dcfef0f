import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { MeasuredStar } from '../../workers/measure/star.ts';
import { loadKernels, type Kernels } from '../../workers/wasm/kernels.ts';
import { loadPlane, measurePlane } from '../pipeline.ts';
import { Reference } from '../reference.ts';
import { askOthers, besideOthers, type OtherStars, type SideBySide } from './beside.ts';
import { cramerRao } from './fisher.ts';
import { allCases, COARSE_PX, drawCase, type Case, type PrecisionFrame } from './frame.ts';
import { idealStar } from './ideal.ts';
import { rowOf, type Pair, type Row } from './rows.ts';
import { HEADER, lineOf, nameOf, sideText, summarise } from './words.ts';

const SEED = 1000;
const GREENS_OF_RGGB = 6;
/** 200 stars each: with 1600 a robust scatter is known to 3 %. */
const FRAMES = 8;

/**
 * `npm run bench -- precision [part] [words]`: bias and scatter over the Cramer-Rao bound for every profile, width, shape
 * and signal to noise, then the same frames through sep and photutils. `part` picks cases whose name contains it ('' for
 * all). Words: `alone` leaves out sep and photutils, which take most of the time; `ideal` adds what a fit of the true
 * profile from the truth reaches on the same stars; `coarse` measures stars of 1.2 px instead; a number says how many
 * frames of 200 stars each case has.
 */
export async function run([part = '', ...words]: string[]): Promise<void> {
  const [alone, ideal] = [words.includes('alone'), words.includes('ideal')];
  const frames = Number(words.find((word) => /^\d+$/.test(word)) ?? FRAMES);
  const kernels = await loadKernels();
  const reference = new Reference(join(process.cwd(), 'bench/precision/reference.py'));
  const folder = mkdtempSync(join(tmpdir(), 'precision-'));
  const rows: Row[] = [];
  const sides: (SideBySide & { wish: Case })[] = [];
  console.log(HEADER);
  const cases = words.includes('coarse') ? allCases([COARSE_PX]) : allCases();
  for (const [i, wish] of cases.entries()) {
    if (!`${nameOf(wish)} `.includes(part)) continue;
    const pairs: Pair[] = [];
    const others: OtherStars[] = [];
    let [of, gain] = [0, 1];
    for (let n = 0; n < frames; n++) {
      const frame = drawCase(wish, SEED * (n + 1) + i);
      const found = measureCase(kernels, frame, wish, n);
      if (ideal) for (const pair of found) pair.ideal = idealStar(wish, frame, pair.index);
      pairs.push(...found);
      if (!wish.mosaic && !alone) others.push(await askOthers(reference, folder, frame, wish));
      of += frame.stars.length;
      gain = frame.gainElectronsPerAdu;
    }
    const row = rowOf(wish, pairs, of, cramerRao(wish, gain));
    const beside = others.length > 0 ? besideOthers(wish, pairs, others) : [];
    rows.push(row);
    sides.push(...beside.map((side) => ({ ...side, wish })));
    console.log(`${lineOf(row)}${beside.map(sideText).join('')}`);
  }
  reference.close();
  rmSync(folder, { recursive: true });
  summarise(rows, sides);
}

function measureCase(kernels: Kernels, frame: PrecisionFrame, wish: Case, of: number): Pair[] {
  const mark = kernels.arena.mark();
  const plane = loadPlane(kernels, frame, wish.mosaic ? GREENS_OF_RGGB : undefined);
  const { measurement } = measurePlane(plane, 1 / frame.gainElectronsPerAdu, kernels);
  kernels.arena.reset(mark);
  return frame.stars.flatMap((truth, index) => {
    let best: MeasuredStar | null = null;
    for (const star of measurement.stars) if (!best || away(star, truth) < away(best, truth)) best = star;
    return best && away(best, truth) < Math.max(3, wish.fwhmPx)
      ? [{ truth, star: best, frame: of, index, ideal: null }]
      : [];
  });
}

const away = (a: { xPx: number; yPx: number }, b: { xPx: number; yPx: number }) =>
  Math.hypot(a.xPx - b.xPx, a.yPx - b.yPx);
