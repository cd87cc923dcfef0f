import { linkSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { drawFrame } from './frames.ts';
import { Site, type Visit } from './page.ts';

/**
 * Frames of 2 MP through the page's pool: prints frames a second for each number of workers, and the memory of the
 * page's process on the way. A few frames by default; `RUN_FRAMES=500` is the bench. Nothing here judges a time.
 */
const FRAMES = Number(process.env.RUN_FRAMES ?? 8);
const WORKERS = [1, 2];

let site: Site;
beforeAll(async () => {
  site = await Site.open();
});
afterAll(() => site.close());

/** The same frame under many names: links cost no disk. */
function links(folder: string): string[] {
  const first = join(folder, 'frame-0000.fits');
  writeFileSync(
    first,
    drawFrame((u, v) => 1.5 + 0.2 * (u * u + v * v), [['EXPTIME', 8]], [1936, 1096]).bytes,
  );
  return Array.from({ length: FRAMES }, (_, i) => {
    const path = join(folder, `frame-${String(i).padStart(4, '0')}.fits`);
    if (i > 0) linkSync(first, path);
    return path;
  });
}

/** Resident memory of the page's process, MB; by way of the system, since WebAssembly's memory is not in the heap. */
async function residentMb(visit: Visit): Promise<number> {
  const session = await visit.page.context().browser()!.newBrowserCDPSession();
  const { processInfo } = await session.send('SystemInfo.getProcessInfo');
  await session.detach();
  const sizes = processInfo
    .filter(({ type }) => type === 'renderer')
    .map(
      ({ id }) => Number(/VmRSS:\s+(\d+)/.exec(readFileSync(`/proc/${id}/status`, 'utf8'))?.[1] ?? 0) / 1024,
    );
  return Math.max(...sizes);
}

test.each(WORKERS)(
  '%i worker(s): all frames are measured, memory is printed',
  async (workers) => {
    const folder = mkdtempSync(join(tmpdir(), 'pool-'));
    const visit = await site.visit();
    // One core is left for the page.
    await visit.page.addInitScript(
      (cores) => Object.defineProperty(navigator, 'hardwareConcurrency', { get: () => cores }),
      workers + 1,
    );
    await visit.begin();
    await visit.page.goto(`${visit.url}#night`);
    const before = await residentMb(visit);
    const began = performance.now();
    await visit.page.getByTestId('run-files').setInputFiles(links(folder));
    const progress = visit.page.getByTestId('run-progress');
    const memory: string[] = [];
    for (let tenth = 1; tenth < 10; tenth++) {
      const reached = Math.floor((FRAMES * tenth) / 10);
      while (await progress.isVisible()) {
        const words = await progress.innerText({ timeout: 2000 }).catch(() => '');
        if (Number(/(\d+) of/.exec(words)?.[1] ?? 0) >= reached) break;
        await visit.page.waitForTimeout(100);
      }
      memory.push((await residentMb(visit)).toFixed(0));
    }
    await progress.waitFor({ state: 'detached', timeout: 3_000_000 });
    const seconds = (performance.now() - began) / 1000;
    await visit.page.getByTestId('left-out').getByText(`of ${FRAMES}`).waitFor({ timeout: 60_000 });
    process.stdout.write(
      `${FRAMES} frames, ${workers} worker(s): ${(FRAMES / seconds).toFixed(2)} frames/s; ` +
        `MB before ${before.toFixed(0)}, at each tenth ${memory.join(' ')}, after ${(await residentMb(visit)).toFixed(0)}\n`,
    );
    expect(await visit.recordsIn('runFrames')).toBe(FRAMES);
    expect(visit.errors).toEqual([]);
    await visit.close();
    rmSync(folder, { recursive: true });
  },
  3_600_000,
);
