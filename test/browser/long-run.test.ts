import { afterAll, beforeAll, expect, test } from 'vitest';
import { writeNight } from './night-frames.ts';
import { screenshots, Site, type Visit } from './page.ts';

let site: Site;
beforeAll(async () => {
  site = await Site.open();
});
afterAll(() => site.close());

const LONG = 2000;

/** Makes a run of `LONG` frames of the one that is kept: its records again and again, each at a later minute. */
const lengthen = (visit: Visit) =>
  visit.page.evaluate(
    (length) =>
      new Promise<void>((resolve, reject) => {
        const opening = indexedDB.open('cornerwise');
        opening.onerror = () => reject(opening.error);
        opening.onsuccess = () => {
          const change = opening.result.transaction('runFrames', 'readwrite');
          const store = change.objectStore('runFrames');
          const asked = store.getAll();
          asked.onsuccess = () => {
            const first = asked.result as {
              id?: number;
              record: { name: string; record: { meta: { startTime: string } } };
            }[];
            const start = Date.parse(`${first[0].record.record.meta.startTime.replace('Z', '')}Z`);
            for (let i = first.length; i < length; i++) {
              const copy = structuredClone(first[i % first.length]);
              delete copy.id;
              copy.record.name = `night-${String(i).padStart(4, '0')}.fits`;
              copy.record.record.meta.startTime = new Date(start + 60_000 * i).toISOString();
              store.add(copy);
            }
          };
          change.oncomplete = () => {
            opening.result.close();
            resolve();
          };
          change.onerror = () => reject(change.error);
        };
      }),
    LONG,
  );

test('a run of two thousand frames comes back after a reload, with a light page', async () => {
  const visit = await (await site.visit()).begin();
  const { page } = visit;
  await page.goto(`${visit.url}#night`);
  await page.getByTestId('run-files').setInputFiles(writeNight(6));
  const left = page.getByTestId('left-out');
  await left.getByText(/of 6\s/).waitFor();
  await expect.poll(() => visit.recordsIn('runFrames')).toBe(6);
  await lengthen(visit);
  await page.reload();
  await left.getByText(new RegExp(`of ${LONG}\\s`)).waitFor({ timeout: 110_000 });
  // One path for all points of a lane, and lists in portions: the page does not grow with the run.
  expect(await page.getByTestId('timeline').locator('svg *').count()).toBeLessThan(400);
  await page.getByRole('button', { name: 'All frames' }).click();
  expect(await page.getByTestId('listed-frame').count()).toBe(60);
  expect(await page.evaluate(() => document.querySelectorAll('*').length)).toBeLessThan(2500);
  // A frame in the middle is found by a tap, and what is said of it stays.
  await page.getByTestId('timeline').click({ position: { x: 640, y: 40 } });
  const name = await page.getByTestId('frame-card').locator('h3').innerText();
  await page.getByRole('radio', { name: 'Leave this frame out' }).check({ force: true });
  await left.getByText(new RegExp(`${LONG - 1} frames of ${LONG}\\s`)).waitFor({ timeout: 60_000 });
  await page.screenshot({ path: `${screenshots}/long-run.png`, fullPage: true });
  await expect.poll(async () => Object.values((await visit.keptRun()).words)).toContain('drop');
  await page.reload();
  await left.getByText(new RegExp(`${LONG - 1} frames of ${LONG}\\s`)).waitFor({ timeout: 110_000 });
  await page.getByText(name).first().waitFor();
  expect(visit.errors).toEqual([]);
  await visit.close();
}, 400_000);
