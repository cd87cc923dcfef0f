import { mkdirSync } from 'node:fs';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { drawFrame } from './frames.ts';
import { brightestOf, screenshots, Site } from './page.ts';

let site: Site;
beforeAll(async () => {
  mkdirSync(screenshots, { recursive: true });
  site = await Site.open();
});
afterAll(() => site.close());

const TABS = ['Frame', 'Causes', 'Maps', 'Regions', 'File', 'Report'];
const SIZES = {
  phone: { viewport: { width: 390, height: 844 }, hasTouch: true, isMobile: true },
  tablet: { viewport: { width: 820, height: 1180 }, hasTouch: true },
  desktop: { viewport: { width: 1440, height: 900 } },
};

test('under the red light no pixel is green or blue, and the page can still be read', async () => {
  const visit = await (await site.visit()).begin();
  // A colour frame: its stars are the hardest to keep red.
  await visit.measure('colour.fits', drawFrame(() => 1.6, [['BAYERPAT', 'RGGB']]).bytes);
  await visit.light('Red night light');
  await visit.page.getByRole('button', { name: 'Demo frames' }).click();
  for (const name of TABS) {
    await visit.tab(name);
    for (const top of [0, 100_000]) {
      await visit.page.evaluate((y) => scrollTo(0, y), top);
      const seen = await brightestOf(visit.page, await visit.page.screenshot());
      expect({ name, top, green: seen.green, blue: seen.blue }).toEqual({ name, top, green: 0, blue: 0 });
      expect(seen.red).toBeGreaterThan(200);
      expect(seen.lit).toBeGreaterThan(2000);
    }
  }
  const whole = await brightestOf(visit.page, await visit.page.screenshot({ fullPage: true }));
  expect([whole.green, whole.blue]).toEqual([0, 0]);
  await visit.page.reload();
  await visit.page.getByTestId('sentence').waitFor();
  expect((await brightestOf(visit.page, await visit.page.screenshot())).green).toBe(0);
  await visit.close();
});

test('the faults, the progress and the drop veil are red too', async () => {
  const visit = await (await site.visit()).begin();
  await visit.light('Red night light');
  const nothingGreen = async () => {
    const { green, blue } = await brightestOf(visit.page, await visit.page.screenshot());
    expect([green, blue]).toEqual([0, 0]);
  };
  await visit.drop('letter.txt', new Uint8Array(5000).fill(65));
  await visit.page.getByTestId('fault').waitFor();
  await nothingGreen();
  await visit.stallReading();
  await visit.drop('slow.fits', new Uint8Array(9000));
  await visit.page.getByRole('progressbar', { name: 'measurement' }).waitFor();
  await nothingGreen();
  await visit.page.evaluate(() => {
    const dataTransfer = new DataTransfer();
    dataTransfer.items.add(new File([], 'a'));
    document.body.dispatchEvent(new DragEvent('dragenter', { dataTransfer, bubbles: true }));
  });
  await visit.page.getByText('Let go to measure').waitFor();
  await nothingGreen();
  await visit.close();
});

test.each(Object.entries(SIZES))(
  '%s: nothing sticks out, targets are large, pictures are kept',
  async (size, options) => {
    const visit = await (await site.visit(options)).begin();
    const { page } = visit;
    for (const name of TABS) {
      await visit.tab(name);
      if (name === 'Frame') await page.getByRole('button', { name: 'Walk the stars' }).click();
      await page.waitForTimeout(300);
      expect({ name, beyond: await visit.beyond() }).toEqual({ name, beyond: 0 });
      expect(await visit.smallTargets()).toEqual([]);
      await page.screenshot({ path: `${screenshots}/${size}-${name.toLowerCase()}.png`, fullPage: true });
    }
    await visit.close();
  },
);

test.each(['Dark page', 'Light page', 'Red night light'])('axe finds nothing serious: %s', async (light) => {
  const visit = await (await site.visit()).begin();
  await visit.light(light);
  await visit.page.getByRole('button', { name: 'Demo frames' }).click();
  for (const name of TABS) {
    await visit.tab(name);
    if (name === 'Frame') await visit.page.getByRole('button', { name: 'Walk the stars' }).click();
    expect(await visit.seriousFaults()).toEqual([]);
  }
  await visit.close();
});
