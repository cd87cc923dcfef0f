import { linkSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { drawFrame } from './frames.ts';
import { Site } from './page.ts';

/** Frames of 2 MP through the page's pool, by one worker and by two. How fast, and in how much memory: `bench -- pool`. */
const FRAMES = 8;

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

test.each([1, 2])('%i worker(s): all frames are measured and kept', async (workers) => {
  const folder = mkdtempSync(join(tmpdir(), 'pool-'));
  const visit = await site.visit();
  // One core is left for the page.
  await visit.page.addInitScript(
    (cores) => Object.defineProperty(navigator, 'hardwareConcurrency', { get: () => cores }),
    workers + 1,
  );
  await visit.begin();
  await visit.page.goto(`${visit.url}#night`);
  await visit.page.getByTestId('run-files').setInputFiles(links(folder));
  await visit.page.getByTestId('left-out').getByText(`of ${FRAMES}`).waitFor({ timeout: 60_000 });
  await expect.poll(() => visit.recordsIn('runFrames')).toBe(FRAMES);
  expect(visit.errors).toEqual([]);
  await visit.close();
  rmSync(folder, { recursive: true });
});
