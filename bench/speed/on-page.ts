import { existsSync } from 'node:fs';
import { join } from 'node:path';
import { findBrowser } from '../../bin/find-browser.mjs';
import { median } from '../statistics.ts';
import { openBuiltPage } from '../built-page.ts';
import { ask } from '../viewer/page.ts';

interface Dropped {
  ms: number;
  stars: number;
  timingMs: Record<string, number>;
}

const ROUNDS = 5;

/**
 * From the drop of a file on the built page to its star table, the worker warm and holding the frame before, against the
 * reference on the same pixels, in turns.
 */
export async function printDrop(fits: string, reference: () => Promise<number>): Promise<void> {
  if (!findBrowser()) return console.log('drop to star table: left out, there is no Chromium here.');
  if (!existsSync(join(process.cwd(), 'dist/page/index.html')))
    return console.log('drop to star table: left out, the page is not built (`npm run build`).');
  const { page, close } = await openBuiltPage({
    before: (page) => page.addInitScript({ path: join(process.cwd(), 'bench/speed/in-page.js') }),
  });
  const [shown, theirs, inWorker]: number[][] = [[], [], []];
  let stars = 0;
  let stages: Record<string, number> = {};
  for (let round = 0; round <= ROUNDS; round++) {
    const answer = ask<Dropped>(page, 'dropAndWait()');
    await page.getByTestId('picker').setInputFiles(fits);
    const dropped = await answer;
    // The search for causes goes on behind the table; the next round waits until it is through.
    await page.locator('.verdict').waitFor();
    const other = await reference();
    if (round === 0) continue; // the first warms up both
    shown.push(dropped.ms);
    theirs.push(other);
    inWorker.push(Object.values(dropped.timingMs).reduce((sum, each) => sum + each, 0));
    ({ stars, timingMs: stages } = dropped);
  }
  await close();
  const ratio = (ours: number[]) => median(ours.map((value, i) => value / theirs[i])).toFixed(3);
  console.log(
    `drop to star table in Chromium (${stars} stars): ${median(shown).toFixed(0)} ms, sep ${median(theirs).toFixed(0)} ms, ratio ${ratio(shown)} (goal 0.20); in the worker ${ratio(inWorker)}: ` +
      Object.entries(stages)
        .map(([stage, ms]) => `${stage} ${ms.toFixed(0)}`)
        .join(', '),
  );
}
