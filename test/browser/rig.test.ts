import { mkdirSync, readFileSync } from 'node:fs';
import type { Page } from 'playwright-core';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { drawFrame } from './frames.ts';
import { brightestOf, screenshots, Site, type Visit } from './page.ts';
import { fits } from './seen.ts';

let site: Site;
beforeAll(async () => {
  mkdirSync(screenshots, { recursive: true });
  site = await Site.open();
});
afterAll(() => site.close());

const TABS = ['Field and speed', 'Stars to the corners', 'Reaching focus', 'Exposure and air'];

/** The rig's place in the page, nothing kept yet. */
async function atTheRig(options = {}): Promise<{ visit: Visit; page: Page }> {
  const visit = await site.visit(options);
  await visit.page.goto(`${visit.url}#rig`);
  await visit.page.getByTestId('rig').waitFor();
  return { visit, page: visit.page };
}
const begin = (page: Page, name: string | RegExp) => page.getByRole('button', { name }).click();
const tell = (page: Page, label: string, value: string) =>
  page.getByLabel(label, { exact: false }).first().fill(value);
const leaf = (page: Page, id: string) => page.getByTestId(`leaf-${id}`).innerText();
const group = (page: Page, name: string) => page.getByTestId(`group-${name}`).locator('> summary').click();
async function choose(page: Page, list: string, row: string): Promise<void> {
  await page.locator('details summary').filter({ hasText: list }).first().click();
  await page.getByRole('radio', { name: row, exact: true }).click();
}

test('a rig is made by hand from an empty page, with few clicks, and stays', async () => {
  const { visit, page } = await atTheRig();
  await begin(page, 'An empty sheet');
  expect(await leaf(page, 'field')).toContain('Not told yet: focal length, sensor width, sensor height');

  await choose(page, 'Kind of optics', 'Reflector, parabolic mirror');
  await tell(page, 'Aperture', '100');
  await tell(page, 'or focal ratio', '4');
  await tell(page, 'Sensor width', '5,6');
  await tell(page, 'Sensor height', '3.2');
  await tell(page, 'Pixel', '2.9');
  expect(await page.getByLabel('Focal length').inputValue()).toBe('400');

  // Elementary: (5/4)² = 1.5625, 100 s become 64 s.
  expect(await leaf(page, 'speed')).toMatch(/1\.56 times.*100\s?s there are 64\s?s here/s);
  await visit.tab('Stars to the corners');
  // Schroeder, Astronomical Optics, ch. 5-6: 3h/16F² with h = 3.225 mm is 37.8 µm.
  expect(await leaf(page, 'coma')).toMatch(/37\.8\s?µm long, 13\s?px/);

  await page.reload();
  await page.getByTestId('rig').waitFor();
  expect(await page.getByLabel('Sensor width').inputValue()).toBe('5.6');
  expect(visit.errors).toEqual([]);
  await visit.close();
});

test('a number that cannot be is answered with its reason and not taken', async () => {
  const { visit, page } = await atTheRig();
  await begin(page, /Example: 100 mm/);
  await tell(page, 'Central obstruction', '35');
  await page.getByRole('alert').getByText('35 % is written 0.35').waitFor();
  await tell(page, 'Central obstruction', 'a third');
  await page.getByRole('alert').getByText('not a number').waitFor();
  await tell(page, 'Central obstruction', '0.1');
  await page.getByRole('alert').getByText('A secondary of 33 mm alone obstructs 0.33').waitFor();
  await page.reload();
  await page.getByTestId('rig').waitFor();
  expect(await page.getByLabel('Central obstruction').inputValue()).toBe('0.1');
  await visit.close();
});

test('the header of a frame fills the sheet, and only the blanks of one that is begun', async () => {
  const visit = await (await site.visit()).begin();
  const { page } = visit;
  const cards: Parameters<typeof drawFrame>[1] = [
    ['FOCALLEN', 650],
    ['APTDIA', 130],
    ['XPIXSZ', 4],
    ['YPIXSZ', 4],
    ['BAYERPAT', 'RGGB'],
    ['EGAIN', 1],
    ['EXPTIME', 8],
  ];
  await visit.measure('told.fits', drawFrame(() => 1.6, cards).bytes);
  await page.getByRole('link', { name: 'Rig' }).click();
  await begin(page, 'What the open frame says');
  const value = (label: string) => page.getByLabel(label).first().inputValue();
  expect(await value('Aperture')).toBe('130');
  expect(await value('Focal length')).toBe('650');
  // 900 x 600 pixels of 4 µm.
  expect(await value('Sensor width')).toBe('3.6');
  expect(await value('Sensor height')).toBe('2.4');
  expect(await page.getByTestId('group-camera').innerText()).toContain('Colour mosaic');

  // The frame is of this rig: its mean stars stand beside the planned ones.
  await choose(page, 'Kind of optics', 'Reflector, parabolic mirror');
  await group(page, 'site');
  await tell(page, 'Usual seeing', '3');
  await visit.tab('Stars to the corners');
  await page.getByRole('img', { name: 'Planned stars' }).waitFor();
  await page.getByRole('img', { name: 'Measured mean stars' }).waitFor();

  // Its noise and the gain of its header tell the sky: drawn with 6 ADU of noise, 36 less 4 of read noise in 8 s, 4 a second;
  // 2² / (4 · 0.1025) = 9.76 s (CCD equation, Newberry 1991).
  await tell(page, 'Read noise', '2');
  await visit.tab('Exposure and air');
  expect(await leaf(page, 'sub-exposure')).toMatch(
    /sky gives (3\.[89]|4(\.[01])?)\d*\s?electrons per second/,
  );
  expect(await leaf(page, 'sub-exposure')).toMatch(/Subs of (9\.[5-9]|10)\d*\s?s or more/);
  expect(await leaf(page, 'next-day')).toContain('Give the night’s frames under Run');

  await page.getByText('Begin another rig').click();
  await begin(page, 'An empty sheet');
  await tell(page, 'Focal length', '600');
  await begin(page, /Fill \d blanks from the open frame/);
  expect(await value('Focal length')).toBe('600');
  expect(await value('Aperture')).toBe('130');
  await visit.close();
});

test('the measurement can be told the rig: its numbers win over the header', async () => {
  const visit = await (await site.visit()).begin();
  const { page } = visit;
  await page.getByRole('link', { name: 'Rig' }).click();
  await begin(page, 'An empty sheet');
  await tell(page, 'Focal length', '412.529612');
  await tell(page, 'Pixel', '4');
  await page.getByText('Measure frames with this rig').click();
  await visit.measure('silent.fits', drawFrame(() => 1.6).bytes);
  // Opening a frame leads back to it. 206.264806 · 4 / 412.53 = 2″ per pixel (elementary).
  await page.getByRole('tab', { name: 'File' }).click();
  expect(await page.getByText('arcsec per pixel').innerText()).toContain('2.000');
  await visit.close();
});

test('the stack reaches focus or says what is short, for both flange depths', async () => {
  const { visit, page } = await atTheRig();
  await begin(page, 'An empty sheet');
  await visit.tab('Reaching focus');
  await group(page, 'focuser');
  await tell(page, 'Focal plane above drawtube', '18');
  await tell(page, 'Travel', '20');
  await page.getByRole('button', { name: 'Add an adapter' }).click();
  await tell(page, 'Length of adapter 1', '3');
  // Lengths added by hand: 18 - 3 - 17.5 = -2.5, and 18 - 3 - 12.5 = 2.5.
  await tell(page, 'Sensor behind front flange', '17.5');
  const deep = await leaf(page, 'reach');
  expect(deep).toMatch(/not reached: 2\.50?\s?mm of in-travel are missing/);
  expect(deep).toContain('12.5 mm deep, focus is reached');
  expect(deep).toContain('A plane plate of crown glass');
  expect(await page.locator('[data-testid=leaf-reach] svg text').allTextContents()).toContain('2.5 mm short');
  await page.getByTestId('leaf-reach').screenshot({ path: `${screenshots}/rig-reach-short.png` });
  await tell(page, 'Sensor behind front flange', '12.5');
  const shallow = await leaf(page, 'reach');
  expect(shallow).toMatch(/Focus is reached with the drawtube 2\.50?\s?mm out/);
  expect(shallow).toMatch(/17\.5 mm deep, 2\.50?\s?mm inwards are missing/);
  expect(shallow).not.toContain('Ways out');

  // 3 mm of adapter and 12.5 mm of flange less 55 mm: the shoulder 39.5 mm below the drawtube's end.
  await tell(page, 'Corrector to sensor', '55');
  expect(await leaf(page, 'corrector')).toMatch(/42\.5\s?mm of metal.*39\.5\s?mm below/s);
  const drawing = page.locator('[data-testid=leaf-reach] svg');
  expect(await drawing.locator('text').allTextContents()).toContain('corrector, inside the drawtube');
  expect(await drawing.getAttribute('aria-label')).toContain("shoulder 39.5 mm below the drawtube's end");
  await page.getByTestId('leaf-reach').screenshot({ path: `${screenshots}/rig-reach-corrector.png` });
  await visit.close();
});

test('rigs go out to a file, are forgotten, and come back from the file', async () => {
  const { visit, page } = await atTheRig();
  await begin(page, /Example: 80 mm/);
  const [download] = await Promise.all([
    page.waitForEvent('download'),
    page.getByRole('button', { name: 'Save to a file' }).click(),
  ]);
  const text = readFileSync(await download.path(), 'utf8');
  expect(JSON.parse(text)).toMatchObject({
    cornerwiseRigs: 1,
    rigs: [{ apertureMm: 80, focalLengthMm: 480 }],
  });

  await page.getByRole('button', { name: 'Forget this rig' }).click();
  await page.getByText('This rig is forgotten.').waitFor();
  const keptRigs = async () => (await visit.settingNames()).filter((name) => name.includes('rig'));
  await expect.poll(keptRigs).toEqual([]);
  await page.getByRole('button', { name: 'Undo' }).click();
  expect(await page.getByLabel('Aperture', { exact: true }).inputValue()).toBe('80');
  await page.getByRole('button', { name: 'Forget this rig' }).click();
  await page.reload();
  await page.getByText('Begin with').waitFor();

  const load = (name: string, content: string) =>
    page
      .getByTestId('rig-picker')
      .setInputFiles({ name, mimeType: 'application/json', buffer: Buffer.from(content) });
  await load('broken.json', '{');
  await page.getByRole('alert').getByText('This file is no JSON').waitFor();
  await load('rigs.json', text);
  await page.getByText('One rig loaded.').waitFor();
  expect(await page.getByLabel('Aperture', { exact: true }).inputValue()).toBe('80');
  await visit.close();
});

test('everything is reached by keyboard', async () => {
  const { visit, page } = await atTheRig();
  const press = (key: string) => page.keyboard.press(key);
  await page.getByRole('button', { name: 'An empty sheet' }).focus();
  await press('Enter');
  await page.getByLabel('Name').focus();
  await press('Tab'); // the group's own line
  await press('Tab');
  await press('Enter'); // opens the list of optics
  await press('Tab');
  await press('ArrowDown');
  await press('ArrowDown');
  await press('Escape');
  expect(await page.getByTestId('group-telescope').innerText()).toContain('Reflector, spherical mirror');
  await press('Tab');
  await page.keyboard.type('114');
  expect(await page.getByLabel('Aperture', { exact: true }).inputValue()).toBe('114');
  await page.getByRole('tab', { name: 'Field and speed' }).focus();
  await press('End');
  expect(await page.getByRole('tab', { name: 'Exposure and air' }).getAttribute('aria-selected')).toBe(
    'true',
  );
  await visit.close();
});

test.each(Object.entries(fits.sizes))(
  '%s: nothing sticks out, targets are large, axe finds nothing serious',
  async (size, options) => {
    const { visit, page } = await atTheRig(options);
    await begin(page, /Example: 100 mm/);
    for (const tab of TABS) {
      await visit.tab(tab);
      await page.getByRole('tab', { name: tab, selected: true }).waitFor();
      const seen = {
        beyond: await visit.beyond(),
        small: await visit.smallTargets(),
        serious: await visit.seriousFaults(),
      };
      expect({ tab, ...seen }).toEqual({ tab, beyond: 0, small: [], serious: [] });
      const file = `${screenshots}/rig-${size}-${tab.split(' ')[0].toLowerCase()}.png`;
      await page.screenshot({ path: file, fullPage: true });
    }
    expect(visit.errors).toEqual([]);
    await visit.close();
  },
);

test('under the red light the rig is red, its open lists too', async () => {
  const { visit, page } = await atTheRig();
  await begin(page, /Example: 100 mm/);
  await visit.light('Red night light');
  await page.locator('details summary').filter({ hasText: 'Kind of optics' }).click();
  for (const tab of TABS) {
    await visit.tab(tab);
    for (const top of [0, 700]) {
      await page.evaluate((y) => scrollTo(0, y), top);
      const { red, green, blue } = await brightestOf(page, await page.screenshot());
      expect({ tab, top, green, blue }).toEqual({ tab, top, green: 0, blue: 0 });
      expect(red).toBeGreaterThan(200);
    }
  }
  // The browser would draw a list of its own above the red layer: there must be none.
  expect(await page.locator('select, datalist, input[type="number"]').count()).toBe(0);
  await visit.close();
});
