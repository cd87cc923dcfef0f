import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { pathToFileURL } from 'node:url';
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

const HOSTILE = '<img src=x onerror=alert(1)>';
const named = () =>
  drawFrame(
    (u, v) => 1.4 + 0.45 * (u * u + v * v),
    [
      ['OBJECT', HOSTILE],
      ['OBSERVER', 'Nobody Atall'],
      ['SITENAME', 'Behind the barn'],
    ],
  ).bytes;
const panel = (visit: Visit) => visit.page.getByTestId('report');
const fitted = (visit: Visit) =>
  visit.page.getByRole('button', { name: 'Stop' }).waitFor({ state: 'detached', timeout: 90_000 });

async function saved(visit: Visit, button: string): Promise<{ path: string; name: string }> {
  const waiting = visit.page.waitForEvent('download');
  await panel(visit).getByRole('button', { name: button }).click();
  const download = await waiting;
  const path = join(tmpdir(), `cornerwise-${process.pid}-${download.suggestedFilename()}`);
  await download.saveAs(path);
  return { path, name: download.suggestedFilename() };
}

test('the report opens again as a file: verdict in it, no script, no request, names only where ticked, and escaped', async () => {
  const visit = await (await site.visit()).begin();
  await visit.measure('Barn secret.fits', named());
  await fitted(visit);
  const verdict = await visit.sentence();
  await visit.tab('Report');
  const bare = await saved(visit, 'Save report (HTML)');
  expect(bare.name).toBe('stars-report.html');
  const text = readFileSync(bare.path, 'utf8');
  for (const secret of ['img src=x', 'Nobody', 'barn', 'Barn secret']) expect(text).not.toContain(secret);

  await panel(visit)
    .getByLabel(/^Object:/)
    .check();
  await panel(visit)
    .getByLabel(/^Name of the file/)
    .check();
  const told = await saved(visit, 'Save report (HTML)');
  expect(told.name).toBe('Barn secret-report.html');

  const page = await visit.page.context().newPage();
  const requests: string[] = [];
  const alerts: string[] = [];
  page.on('request', (request) => requests.push(request.url()));
  page.on('dialog', (dialog) => {
    alerts.push(dialog.message());
    void dialog.dismiss();
  });
  await page.goto(pathToFileURL(told.path).href);
  expect(await page.locator('h1').innerText()).toBe(verdict);
  expect(await page.locator('script').count()).toBe(0);
  expect(await page.locator('img').count()).toBe(0);
  expect(await page.getByText(HOSTILE).count()).toBe(1);
  expect(await page.getByText('Nobody Atall').count()).toBe(0);
  expect(await page.locator('svg .plate-half').count()).toBeGreaterThanOrEqual(9);
  const numbers = await page.locator('.big').innerText();
  const corners = await visit.number('corners');
  expect(Number(/Corners\s+([\d.]+)/.exec(numbers)![1])).toBeCloseTo(corners.value, 2);
  expect(requests.map((url) => new URL(url).protocol)).toEqual(['file:']);
  expect(alerts).toEqual([]);
  for (const [name, width] of [
    ['desktop', 1280],
    ['phone', 390],
  ] as const) {
    await page.setViewportSize({ width, height: 900 });
    expect(await page.evaluate(() => document.documentElement.scrollWidth)).toBeLessThanOrEqual(width);
    await page.screenshot({ path: `${screenshots}/report-file-${name}.png`, fullPage: true });
  }

  // Another frame: the ticks of the one before say nothing of it.
  await visit.measure('other.fits', named());
  expect((await saved(visit, 'Save report (HTML)')).name).toBe('stars-report.html');
  expect(visit.errors).toEqual([]);
  await visit.close();
}, 240_000);

test('the picture to share is a PNG of its full size with stars and words in it', async () => {
  const visit = await (await site.visit()).begin();
  await visit.measure('named.fits', named());
  await visit.tab('Report');
  const { path, name } = await saved(visit, 'Save picture (PNG)');
  expect(name).toBe('stars-report.png');
  const png = readFileSync(path);
  // Signature and header of a PNG (W3C PNG, 5.2 and 11.2.2).
  expect([...png.subarray(0, 8)]).toEqual([137, 80, 78, 71, 13, 10, 26, 10]);
  expect([png.readUInt32BE(16), png.readUInt32BE(20)]).toEqual([1600, 900]);
  writeFileSync(`${screenshots}/report-picture.png`, png);
  const { lit } = await brightestOf(visit.page, png);
  expect(lit).toBeGreaterThan(20_000);
  expect(visit.errors).toEqual([]);
  await visit.close();
}, 120_000);

test.each(Object.entries(fits.sizes))(
  '%s: it fits, targets are large, axe finds nothing serious, nothing green in red',
  async (size, options) => {
    const visit = await (await site.visit(options)).begin();
    await visit.measure('named.fits', named());
    await visit.tab('Report');
    await panel(visit).waitFor();
    await panel(visit)
      .getByLabel(/^Object:/)
      .check();
    await fits.check(visit, `${screenshots}/report-${size}`);
    await visit.close();
  },
  120_000,
);
