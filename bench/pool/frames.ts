import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { Page } from 'playwright-core';
import { simulateExposure } from '../../workers/simulate/exposure.ts';
import { writeFits16 } from '../../workers/simulate/fits.ts';
import { makeScene } from '../../workers/simulate/scene.ts';

/** Bytes of a FITS block: the header fills one. */
const BLOCK = 2880;
const [WIDTH, HEIGHT] = [1936, 1096];
const DISTINCT = 4;
const START = Date.UTC(2026, 9, 17, 18);

/** Writes a few distinct frames of 2 MP, a little out of focus from one to the next. */
export function writePixels(): { paths: string[]; forget(): void } {
  const folder = mkdtempSync(join(tmpdir(), 'pool-'));
  const paths = Array.from({ length: DISTINCT }, (_, i) => {
    const scene = makeScene({
      rig: { widthPx: WIDTH, heightPx: HEIGHT },
      optics: { focusUm: 8 * i },
      stars: { count: 400 },
      seed: 1,
    });
    const { pixels, widthPx, heightPx } = simulateExposure(scene);
    const path = join(folder, `pixels-${i}.fits`);
    writeFileSync(path, writeFits16(pixels, widthPx, heightPx, []));
    return path;
  });
  return { paths, forget: () => rmSync(folder, { recursive: true }) };
}

/**
 * Gives the run `count` files: a header of its own for each, so that each has its time, in front of the pixels of one of
 * those written, which are read from disk anew each time. The page needs in-page.js.
 */
export async function giveFrames(page: Page, paths: string[], count: number): Promise<void> {
  const dateAt = (i: number) => new Date(START + 30_000 * i).toISOString().slice(0, 19);
  const bytes = writeFits16(new Uint16Array(WIDTH * HEIGHT), WIDTH, HEIGHT, [
    ['DATE-OBS', dateAt(0)],
    ['EXPTIME', 20],
    ['EGAIN', 1, 'electrons per ADU'],
  ]);
  const first = Buffer.from(bytes.slice(0, BLOCK)).toString('latin1');
  const headers = Array.from({ length: count }, (_, i) => first.replace(dateAt(0), dateAt(i)));
  await page.evaluate('bench.open()');
  await page.locator('#bench-pixels').setInputFiles(paths);
  await page.evaluate(`bench.give(${JSON.stringify(headers)}, ${BLOCK})`);
}
