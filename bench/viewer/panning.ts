import type { Page } from 'playwright-core';
import { median } from '../statistics.ts';
import { ask } from './page.ts';

const FRAMES = 120;
const ROUNDS = 5;

/**
 * Pans over a frame at three zooms by pointer events, one for each refresh, back and forth over resident tiles, in turns
 * with an empty shader that fills a canvas of the same size. Main-thread work is the browser's own account of its tasks.
 */
export async function printPanning(page: Page, file: string): Promise<void> {
  await page.getByTestId('picker').setInputFiles(file);
  await page.getByTestId('file-name').getByText('large.fits', { exact: true }).waitFor();
  const stop = page.getByTestId('explaining').getByRole('button', { name: 'Stop' });
  await stop.click({ timeout: 20_000 }).catch(() => {});
  await page.getByRole('application').scrollIntoViewIfNeeded();
  const account = await page.context().newCDPSession(page);
  await account.send('Performance.enable');
  const taskMs = async () => {
    const { metrics } = await account.send('Performance.getMetrics');
    return 1000 * metrics.find(({ name }) => name === 'TaskDuration')!.value;
  };

  console.log(
    'zoom | ms a frame panning | empty shader | ratio (<= 1.2) | main thread ms a frame (< 4) | uploads (0)',
  );
  for (const [zoom, key] of [
    ['pixels 4 to a screen pixel', '+'],
    ['pixels 1:1', '1'],
    ['pixels as squares', '+'],
  ] as const) {
    await page.getByRole('application').focus();
    for (let i = 0; i < 4; i++) await page.keyboard.press(key);
    // All tiles on the way to and fro come in first.
    await ask<number>(page, `pan(${FRAMES})`);
    await page.waitForTimeout(1500);
    await ask<number>(page, `pan(${FRAMES})`);
    const [panning, empty, work]: number[][] = [[], [], []];
    const uploads = await ask<number>(page, 'uploads()');
    for (let round = 0; round < ROUNDS; round++) {
      const before = await taskMs();
      panning.push(await ask<number>(page, `pan(${FRAMES})`));
      work.push(((await taskMs()) - before) / FRAMES);
      empty.push(await ask<number>(page, `emptyShader(${FRAMES})`));
    }
    const uploaded = (await ask<number>(page, 'uploads()')) - uploads;
    const [ours, theirs] = [median(panning), median(empty)];
    console.log(
      `${zoom} | ${ours.toFixed(2)} | ${theirs.toFixed(2)} | ${(ours / theirs).toFixed(2)} | ${median(work).toFixed(2)} | ${uploaded}`,
    );
  }
}
