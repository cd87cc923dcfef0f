import { join } from 'node:path';
import { pathToFileURL } from 'node:url';
import type { Page } from 'playwright-core';
import { nodeSource } from '../../bin/node-source.ts';
import { threadedPools } from '../../bin/star-pool.ts';
import { explainFrame } from '../../workers/physics.ts';
import { FIT_STAMPS } from '../../workers/protocol/api.ts';
import { UNKNOWN_RIG } from '../../workers/protocol/rig.ts';
import { FrameSession } from '../../workers/session.ts';
import { loadKernels } from '../../workers/wasm/kernels.ts';
import { median } from '../statistics.ts';
import { ask } from './page.ts';

const ROUNDS = 5;
const FILES = ['heron-after-the-tour.fits.gz', 'finch-long-adapter.fits.gz'];

/** From the choice of a file to its verdict on screen, against the bare analysis in Node, in turns on the same file. */
export async function printVerdict(page: Page): Promise<void> {
  await page.locator('.verdict').waitFor();
  const session = new FrameSession(await loadKernels());
  const pools = threadedPools(pathToFileURL(join(process.cwd(), 'dist/shell/star-thread.js')));
  console.log('frame | verdict on screen ms | bare analysis ms | ratio (<= 1.3)');
  for (const name of FILES) {
    const file = join(process.cwd(), 'public/demo', name);
    const [shown, bare]: number[][] = [[], []];
    for (let round = 0; round <= ROUNDS; round++) {
      const onPage = await untilVerdict(page, file);
      const begun = performance.now();
      const source = await nodeSource(file);
      if (!source.ok) throw new Error(source.fault.message);
      const measured = await session.measure(source.value, { rig: {} });
      if (!measured.ok) throw new Error(measured.fault.message);
      const stamps = session.stamps(measured.value.handle, FIT_STAMPS);
      if (!stamps.ok) throw new Error(stamps.fault.message);
      await explainFrame(stamps.value, measured.value.report, UNKNOWN_RIG, pools.make);
      const took = performance.now() - begun;
      if (round === 0) continue; // the first warms up both
      shown.push(onPage);
      bare.push(took);
    }
    const ratio = median(shown.map((ms, i) => ms / bare[i]));
    console.log(`${name} | ${median(shown).toFixed(0)} | ${median(bare).toFixed(0)} | ${ratio.toFixed(2)}`);
  }
  pools.close();
}

/** Milliseconds, on the page's own clock, from the file's arrival in the input to the first refresh with its verdict. */
async function untilVerdict(page: Page, file: string): Promise<number> {
  const shown = ask<number>(page, 'untilVerdict()');
  await page.getByTestId('picker').setInputFiles(file);
  return shown;
}
