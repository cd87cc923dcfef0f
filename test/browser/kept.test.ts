import { mkdirSync } from 'node:fs';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { even, widening } from './frames.ts';
import { screenshots, Site, type Visit } from './page.ts';
import { fits } from './seen.ts';

let site: Site;
beforeAll(async () => {
  mkdirSync(screenshots, { recursive: true });
  site = await Site.open();
});
afterAll(() => site.close());

const open = (visit: Visit) => visit.page.getByRole('button', { name: 'What this browser keeps' }).click();
const panel = (visit: Visit) => visit.page.getByTestId('kept');
const fitted = (visit: Visit) =>
  visit.page.getByRole('button', { name: 'Stop' }).waitFor({ state: 'detached', timeout: 60_000 });

test('the last results outlive the page, one for each file, and each can be forgotten and brought back', async () => {
  const visit = await (await site.visit()).begin();
  await visit.measure('first.fits', widening().bytes);
  await visit.measure('second.fits', even().bytes);
  await expect.poll(() => visit.recordsIn('frames')).toBe(3);
  await visit.page.reload();
  await visit.page.getByTestId('sentence').waitFor();
  await open(visit);
  await panel(visit).getByRole('button', { name: 'List' }).click();
  const rows = panel(visit).locator('#kept-frames li');
  // The demo frame that opened by itself is the newest again and stands there once.
  await expect.poll(() => rows.count()).toBe(3);
  expect(await rows.nth(1).innerText()).toContain('second.fits');
  await panel(visit).getByRole('button', { name: 'Forget the result of first.fits' }).click();
  await expect.poll(() => rows.count()).toBe(2);
  await panel(visit).getByRole('button', { name: 'Undo' }).click();
  await expect.poll(() => rows.count()).toBe(3);
  expect(await rows.nth(2).innerText()).toContain('first.fits');
  expect(visit.errors).toEqual([]);
  await visit.close();
});

test('"forget everything" empties what is kept, keeps nothing more, and can be undone', async () => {
  const visit = await (await site.visit()).begin();
  await visit.light('Light page');
  await visit.page.getByRole('link', { name: 'Rig' }).click();
  await visit.page.getByRole('button', { name: 'An empty sheet' }).first().click();
  await expect.poll(() => visit.settingNames()).toContain('rigs');
  await open(visit);
  const everything = async () => ({
    settings: (await visit.settingNames()).sort(),
    frames: await visit.recordsIn('frames'),
  });
  await expect.poll(() => visit.recordsIn('frames')).toBe(1);
  const before = await everything();
  await panel(visit).getByRole('button', { name: 'Forget everything', exact: true }).click();
  await panel(visit).getByRole('button', { name: 'Keep it' }).click();
  expect(await everything()).toEqual(before);
  await panel(visit).getByRole('button', { name: 'Forget everything', exact: true }).click();
  await panel(visit).getByRole('button', { name: 'Yes, forget everything' }).click();
  await panel(visit).getByText('Everything is forgotten').waitFor();
  expect(await everything()).toEqual({ settings: [], frames: 0 });
  await visit.light('Dark page');
  expect(await everything()).toEqual({ settings: [], frames: 0 });
  await panel(visit).getByRole('button', { name: 'Undo' }).click();
  await expect.poll(everything).toEqual(before);
  await visit.close();
});

test.each(Object.entries(fits.sizes))(
  '%s: the list fits, targets are large, axe finds nothing serious, nothing green in red',
  async (size, options) => {
    const visit = await (await site.visit(options)).begin();
    await visit.measure(
      'a-long-name-of-a-frame-of-the-double-cluster_2026-11-25_0001.fits',
      widening().bytes,
    );
    await fitted(visit);
    await open(visit);
    await panel(visit).getByRole('button', { name: 'List' }).click();
    await panel(visit).getByRole('button', { name: 'Forget everything', exact: true }).click();
    await panel(visit).scrollIntoViewIfNeeded();
    await fits.check(visit, `${screenshots}/kept-${size}`);
    await visit.close();
  },
);
