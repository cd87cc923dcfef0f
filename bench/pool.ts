import { join } from 'node:path';
import type { Page } from 'playwright-core';
import { openBuiltPage } from './built-page.ts';
import { giveFrames, writePixels } from './pool/frames.ts';
import { inUseMb, residentMb } from './pool/memory.ts';

const ISOLATED = {
  'Cross-Origin-Opener-Policy': 'same-origin',
  'Cross-Origin-Embedder-Policy': 'require-corp',
};

/**
 * `npm run bench -- pool [frames] [workers ...]`: frames of 2 MP through the built page's pool in a headless browser:
 * frames a second for each number of workers, and memory at every tenth of the run.
 */
export async function run([frames = '500', ...workers]: string[]): Promise<void> {
  const pixels = writePixels();
  const speeds: number[] = [];
  try {
    for (const each of workers.length > 0 ? workers.map(Number) : [1, 2])
      speeds.push(await once(pixels.paths, Number(frames), each));
  } finally {
    pixels.forget();
  }
  if (speeds.length > 1)
    console.log(`the most workers against the fewest: ${(speeds.at(-1)! / speeds[0]).toFixed(2)} times`);
}

async function once(paths: string[], frames: number, workers: number): Promise<number> {
  const { page, close } = await openBuiltPage({
    switches: ['--enable-blink-features=ForceEagerMeasureMemory'],
    headers: ISOLATED,
    // One core is left for the page.
    before: async (fresh) => {
      await fresh.addInitScript({ path: join(process.cwd(), 'bench/pool/in-page.js') });
      await fresh.addInitScript(
        (cores) => Object.defineProperty(navigator, 'hardwareConcurrency', { get: () => cores }),
        workers + 1,
      );
    },
  });
  try {
    await page.evaluate("location.hash = 'night'");
    await page.getByTestId('run-files').waitFor({ state: 'attached' });
    console.log(`\n${frames} frames of 2 MP, ${workers} worker(s)`);
    await tellUse(page, 'before');
    console.log('frames | frames/s since the last | process MB');
    const progress = page.getByTestId('run-progress');
    const began = performance.now();
    let [since, last] = [began, 0];
    await giveFrames(page, paths, frames);
    for (let tenth = 1; tenth <= 10; tenth++) {
      const aim = Math.round((frames * tenth) / 10);
      let done = last;
      while (done < aim) {
        await page.waitForTimeout(50);
        const words = (await progress.count()) > 0 ? await progress.innerText().catch(() => '') : null;
        // The progress goes away with the last frame.
        if (words === null && last > 0) done = frames;
        done = Math.max(done, Number(/(\d+) of/.exec(words ?? '')?.[1] ?? 0));
      }
      const now = performance.now();
      const speed = (1000 * (done - last)) / (now - since);
      console.log(
        `${String(done).padStart(6)} | ${speed.toFixed(2)} | ${(await residentMb(page)).toFixed(0)}`,
      );
      [since, last] = [now, done];
    }
    const speed = (1000 * frames) / (performance.now() - began);
    console.log(`${workers} worker(s): ${speed.toFixed(2)} frames a second`);
    await tellUse(page, 'after');
    console.log(`process after tidying, MB: ${(await residentMb(page)).toFixed(0)}`);
    return speed;
  } finally {
    await close();
  }
}

async function tellUse(page: Page, when: string): Promise<void> {
  const use = Object.entries(await inUseMb(page))
    .sort(([, p], [, q]) => q - p)
    .map(([name, mb]) => `${name} ${mb.toFixed(1)}`);
  console.log(`in use ${when}, tidied, MB: ${use.join(', ')}`);
}
