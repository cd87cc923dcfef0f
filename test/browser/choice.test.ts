import { afterAll, beforeAll, expect, test } from 'vitest';
import { drawFrame, FWHM_PER_SIGMA } from './frames.ts';
import { Site } from './page.ts';

let site: Site;
beforeAll(async () => {
  site = await Site.open();
});
afterAll(() => site.close());

/** Two frames in one file (FITS Standard 4.0, 3.4.1): the second header begins with XTENSION instead of SIMPLE. */
function together(first: Uint8Array, second: Uint8Array): Uint8Array {
  const extension = second.slice();
  extension.set(Buffer.from("XTENSION= 'IMAGE   '".padEnd(80)));
  return new Uint8Array(Buffer.concat([first, extension]));
}

test('of the pictures in a file the first is measured; another one when it is chosen, and it stays with its pixels', async () => {
  const [narrow, wide] = [drawFrame(() => 1.4), drawFrame(() => 2.1)];
  const visit = await (await site.visit()).begin();
  await visit.measure('two.fits', together(narrow.bytes, wide.bytes));
  const widthOf = (frame: typeof narrow) => FWHM_PER_SIGMA * frame.stars[0].sigmaPx;
  const offBy = async (frame: typeof narrow) =>
    Math.abs((await visit.number('centre')).value / widthOf(frame) - 1);
  expect(await offBy(narrow)).toBeLessThan(0.02);
  expect(await visit.page.locator('.answer').innerText()).toContain('The file holds 2 pictures');

  await visit.tab('File');
  await visit.page.getByText('Picture in this file').first().click();
  await visit.page.getByRole('radio', { name: /^2\./ }).check();
  await expect.poll(() => offBy(wide), { timeout: 20_000 }).toBeLessThan(0.02);
  expect(await visit.page.locator('.answer').innerText()).toContain('number 2 was read');

  // The pixels on the page are those of the second picture too: its stars are wider in the close look.
  await visit.tab('Frame');
  await visit.page.getByRole('button', { name: 'Walk the stars' }).click();
  expect(Math.abs((await visit.starValue('Width (FWHM)')) / widthOf(wide) - 1)).toBeLessThan(0.03);
  expect(visit.errors).toEqual([]);
  await visit.close();
});
