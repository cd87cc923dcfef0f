import { mkdirSync } from 'node:fs';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { drawFrame, even, FWHM_PER_SIGMA, widening } from './frames.ts';
import { screenshots, Site, type Visit } from './page.ts';
import { fits } from './seen.ts';

let site: Site;
beforeAll(async () => {
  mkdirSync(screenshots, { recursive: true });
  site = await Site.open();
});
afterAll(() => site.close());

const line = (visit: Visit) => visit.page.getByTestId('beside-line');
const panel = (visit: Visit) => visit.page.getByTestId('compare');
const cell = (visit: Visit, key: string, column: number) =>
  panel(visit).locator(`[data-row="${key}"] td`).nth(column).innerText();
const fitted = (visit: Visit) =>
  visit.page.getByRole('button', { name: 'Stop' }).waitFor({ state: 'detached', timeout: 90_000 });

test('after a second frame one step leads to the comparison, with the frame before it kept by itself', async () => {
  const visit = await (await site.visit()).begin();
  await visit.measure('before.fits', widening().bytes);
  expect(await line(visit).count()).toBe(0);
  // Up to the edge of the centre ninth (u² + v² = 2/9) the same stars.
  const flatter = drawFrame((u, v) => 1.4 + 0.45 * Math.min(u * u + v * v, 2 / 9));
  await visit.measure('after.fits', flatter.bytes);
  expect(await line(visit).innerText()).toMatch(/before\.fits[^]*Better: the stars in the corners shrank/);
  await line(visit).getByRole('button', { name: 'Compare' }).click();
  await panel(visit)
    .getByText(/^Better: the stars in the corners/)
    .waitFor();

  // What was drawn: the mean width of the stars in the corner ninths of each frame.
  const drawn = (frame: ReturnType<typeof widening>) => {
    const corner = frame.stars.filter(
      ({ xPx, yPx }) =>
        Math.abs((2 * xPx) / frame.widthPx - 1) > 1 / 3 && Math.abs((2 * yPx) / frame.heightPx - 1) > 1 / 3,
    );
    return (FWHM_PER_SIGMA * corner.reduce((sum, { sigmaPx }) => sum + sigmaPx, 0)) / corner.length;
  };
  const [, value, sigma] = /([−+][\d.]+) ± ([\d.]+)/.exec(await cell(visit, 'corners', 2))!;
  const truth = drawn(flatter) - drawn(widening());
  const told = Number(value.replace('−', '-'));
  expect(Math.abs(told - truth)).toBeLessThan(0.03 * Math.abs(truth) + 3 * Number(sigma));
  expect(await cell(visit, 'corners', 3)).toContain('better');
  expect(await cell(visit, 'centre', 3)).toContain('no real change');

  // The other way round, from what the browser kept, after the page was opened anew.
  await visit.page.reload();
  await visit.page.getByTestId('sentence').waitFor();
  await visit.measure('even.fits', even().bytes);
  await line(visit).getByRole('button', { name: 'Compare' }).click();
  const choice = panel(visit).locator('details').first();
  expect(await choice.innerText()).toContain('after.fits');
  await choice.locator('summary').click();
  await choice.getByRole('radio', { name: /before\.fits/ }).check();
  await panel(visit).getByText('Before before.fits').waitFor();
  expect(await cell(visit, 'centre', 3)).toContain('worse');
  expect(visit.errors).toEqual([]);
  await visit.close();
});

test('the same frame twice is no real change, and what would have been seen is told', async () => {
  const visit = await (await site.visit()).begin();
  await visit.measure('one.fits', even().bytes);
  await visit.measure('two.fits', even().bytes);
  expect(await line(visit).innerText()).toMatch(/No real change[^]*would have been seen/);
  await visit.close();
});

test.each(Object.entries(fits.sizes))(
  '%s: it fits, targets are large, axe finds nothing serious, nothing green in red',
  async (size, options) => {
    const visit = await (await site.visit(options)).begin();
    for (const name of [/After the children/, /After the tour/]) {
      await visit.page.getByRole('button', { name: 'Demo frames' }).click();
      await visit.page.locator('#demos').getByRole('button', { name }).click();
      await visit.page.getByTestId('file-name').getByText(name).waitFor();
      await fitted(visit);
    }
    await line(visit).waitFor();
    await fitted(visit);
    await visit.tab('Compare');
    await panel(visit).locator('[data-row="air"]').waitFor();
    await fits.check(visit, `${screenshots}/compare-${size}`);
    await visit.close();
  },
  240_000,
);
