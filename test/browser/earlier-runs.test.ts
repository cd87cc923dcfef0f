import { afterAll, beforeAll, expect, test } from 'vitest';
import { writeNight } from './night-frames.ts';
import { screenshots, Site, type Visit } from './page.ts';
import { fits } from './seen.ts';

let site: Site;
beforeAll(async () => {
  site = await Site.open();
});
afterAll(() => site.close());

const judged = (visit: Visit, kept: number, total: number) =>
  visit.page
    .getByTestId('left-out')
    .getByText(new RegExp(`^\\s*${kept} frames? of ${total}\\s`))
    .waitFor();

test('earlier runs are listed with what they said; one opens as it was left, is forgotten and comes back', async () => {
  const visit = await (await site.visit()).begin();
  const { page } = visit;
  await page.goto(`${visit.url}#night`);
  const first = writeNight(6);
  await page.getByTestId('run-files').setInputFiles(first);
  await judged(visit, 6, 6);
  await page.getByTestId('timeline').focus();
  await page.keyboard.press('Home');
  await page.getByRole('radio', { name: 'Leave this frame out' }).check({ force: true });
  await judged(visit, 5, 6);
  const sentence = await page.getByTestId('run-sentence').innerText();
  await page.getByRole('button', { name: 'Begin a new run' }).click();

  const earlier = page.getByTestId('earlier-run');
  await earlier.waitFor();
  const line = await earlier.innerText();
  // The first exposure began at 20:00 UTC, the last at 20:05, each of 40 s.
  expect(line).toMatch(/17 Oct 2026, \d\d:00 to \d\d:05/);
  expect(line).toContain('6 frames, from night-000.fits');
  expect(line).toContain(sentence);

  await page.getByTestId('run-files').setInputFiles(writeNight(9));
  await judged(visit, 9, 9);
  await earlier.getByRole('button', { name: /^Open/ }).click();
  // What was said of the frames is there again, and files given before are at hand.
  await judged(visit, 5, 6);
  await page.getByRole('button', { name: 'All frames' }).click();
  expect(await page.getByRole('button', { name: 'Open night-003.fits' }).isEnabled()).toBe(true);
  expect(await earlier.innerText()).toContain('9 frames');

  // The one that was open comes back after a reload, not the one that was begun last.
  await page.reload();
  await judged(visit, 5, 6);
  await earlier.getByRole('button', { name: /^Forget/ }).click();
  await page.getByText('forgotten.').waitFor();
  expect(await visit.recordsIn('runFrames')).toBe(6);
  await page.getByRole('button', { name: 'Bring it back' }).click();
  await earlier.waitFor();
  expect(await visit.recordsIn('runFrames')).toBe(15);

  // A frame added to the opened run belongs to it.
  await page.getByTestId('run-files').setInputFiles(first);
  await judged(visit, 5, 6);
  expect(visit.errors).toEqual([]);
  await visit.close();
}, 120_000);

test.each(Object.entries(fits.sizes))('%s: the list of runs, as it is seen', async (size, options) => {
  const visit = await (await site.visit(options)).begin();
  const { page } = visit;
  await page.goto(`${visit.url}#night`);
  for (const count of [5, 4]) {
    await page.getByTestId('run-files').setInputFiles(writeNight(count));
    await judged(visit, count, count);
    await page.getByRole('button', { name: 'Begin a new run' }).click();
    await page
      .getByTestId('earlier-run')
      .nth(count === 5 ? 0 : 1)
      .waitFor();
  }
  await page
    .getByTestId('earlier-run')
    .first()
    .getByRole('button', { name: /^Forget/ })
    .click();
  await page.getByText('forgotten.').waitFor();
  await fits.check(visit, `${screenshots}/earlier-runs-${size}`);
  await visit.close();
});
