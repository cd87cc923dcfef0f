import { mkdirSync, readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { drawNight, writeNight } from './night-frames.ts';
import { brightestOf, screenshots, Site, type Visit } from './page.ts';

let site: Site;
beforeAll(async () => {
  mkdirSync(screenshots, { recursive: true });
  site = await Site.open();
});
afterAll(() => site.close());

const night = async (visit: Visit) => {
  await visit.page.goto(`${visit.url}#night`);
  return visit.page;
};
/** All frames are judged: `kept` of `total` stay. */
const judged = (visit: Visit, kept: number, total: number) =>
  visit.page
    .getByTestId('left-out')
    .getByText(new RegExp(`^\\s*${kept} frames? of ${total}\\s`))
    .waitFor();

test('many files dropped at once become a run; one that is no frame does not stop it; a frame opens', async () => {
  const visit = await (await site.visit()).begin();
  const files = drawNight(6, () => ({})).map((bytes, i) => ({
    name: `drop-${i}.fits`,
    base64: Buffer.from(bytes).toString('base64'),
  }));
  files.splice(2, 0, { name: 'letter.fits', base64: Buffer.from('A'.repeat(5000)).toString('base64') });
  await visit.page.evaluate((list) => {
    const dataTransfer = new DataTransfer();
    for (const { name, base64 } of list) {
      const bytes = Uint8Array.from(atob(base64), (c) => c.charCodeAt(0));
      dataTransfer.items.add(new File([bytes], name));
    }
    for (const type of ['dragenter', 'dragover', 'drop'])
      document.body.dispatchEvent(new DragEvent(type, { dataTransfer, bubbles: true, cancelable: true }));
  }, files);
  await judged(visit, 6, 7);
  const left = visit.page.getByTestId('listed-frame');
  expect(await left.count()).toBe(1);
  expect(await left.innerText()).toContain('letter.fits');
  await visit.page.getByRole('button', { name: 'All frames' }).click();
  await visit.page.getByRole('button', { name: 'Open drop-3.fits' }).click();
  await visit.page.getByTestId('file-name').getByText('drop-3.fits').waitFor();
  expect(visit.errors).toEqual([]);
  await visit.close();
});

test('a reload in the middle of a run loses no measured frame, and the rest is taken up when the files come again', async () => {
  // Many, for the progress is shown a few times a second only and small frames take milliseconds.
  const all = 120;
  const paths = writeNight(all);
  const visit = await (await site.visit()).begin();
  const page = await night(visit);
  await page.getByTestId('run-files').setInputFiles(paths.slice(0, 6));
  await judged(visit, 6, 6);
  // Paused, so that the rest is waiting when the page goes away.
  await page.evaluate(() => {
    new MutationObserver(() =>
      [...document.querySelectorAll('button')].find((button) => button.textContent === 'Pause')?.click(),
    ).observe(document.body, { childList: true, subtree: true });
  });
  await page.getByTestId('run-files').setInputFiles(paths);
  await page.getByRole('button', { name: 'Go on' }).waitFor();
  const kept = async () => (await visit.keptRun()).waiting.length + (await visit.recordsIn('runFrames'));
  await expect.poll(kept).toBe(all);
  await page.reload();
  await page.getByTestId('run-lacking').waitFor();
  const progress = await page.getByTestId('run-progress').innerText();
  const [, before] = new RegExp(`(\\d+) of ${all} frames measured`).exec(progress)!;
  expect(Number(before)).toBeGreaterThanOrEqual(6);
  expect(Number(before)).toBeLessThan(all);
  await page.getByTestId('run-files').setInputFiles(paths);
  await judged(visit, all, all);
  expect(await visit.recordsIn('runFrames')).toBe(all);
  expect(visit.errors).toEqual([]);
  await visit.close();
});

/** A gust in frame 7, cloud over frames 12 to 15, focus creeping out all the time. */
const eventful = (i: number) => ({
  sigmaPx: Math.hypot(1.5, 0.038 * i),
  elongation: i === 7 ? 1.7 : 1.02,
  light: i >= 12 && i <= 15 ? [0.5, 0.25, 0.4, 0.6][i - 12] : 1,
});

test('what is proposed to be left out has a reason; limits and the person move it; the table says the same', async () => {
  const visit = await (await site.visit()).begin();
  const page = await night(visit);
  await page.getByTestId('run-files').setInputFiles(writeNight(24, eventful));
  // The limit is a quarter over the good ones: sqrt(1.5² + (0.038 i)²) stays below it throughout.
  await judged(visit, 19, 24);
  const left = page.getByTestId('listed-frame');
  expect(await left.count()).toBe(5);
  expect(await left.first().innerText()).toMatch(/night-007\.fits[\s\S]*times as long as wide/);
  expect(await left.nth(2).innerText()).toMatch(/night-013\.fits[\s\S]*% of the light of the clear frames/);
  expect(await page.getByTestId('marks').innerText()).toMatch(/gust or a knock[\s\S]*Clouds passed/);

  await page.getByRole('button', { name: 'Keep night-007.fits' }).click();
  await judged(visit, 20, 24);
  await page.getByLabel('Light at least, % of the clear frames').fill('30');
  await page.keyboard.press('Enter');
  await judged(visit, 23, 24);
  await page.getByTestId('timeline').focus();
  await page.keyboard.press('Home');
  await page.getByRole('radio', { name: 'Leave this frame out' }).check({ force: true });
  await judged(visit, 22, 24);

  const download = page.waitForEvent('download');
  await page.getByRole('button', { name: 'Save table (CSV)' }).click();
  const text = readFileSync((await (await download).path())!, 'utf8');
  const rows = text.trim().split('\r\n');
  const columns = rows[0].split(',');
  const cell = (row: number, name: string) => rows[row].split(',')[columns.indexOf(name)];
  expect(rows).toHaveLength(25);
  expect(cell(1, 'timeUtc')).toBe('2026-10-17T20:00:20.000Z');
  expect([cell(1, 'kept'), cell(2, 'kept'), cell(8, 'kept'), cell(14, 'kept')]).toEqual([
    'no',
    'yes',
    'yes',
    'no',
  ]);
  // The drawn Gaussian, through the pixel: variance + 1/12 is not added, it is drawn as sampled.
  expect(Math.abs(Number(cell(2, 'fwhmPx')) / (2.3548 * 1.5) - 1)).toBeLessThan(0.04);

  // What was said survives a reload.
  await expect.poll(async () => Object.values((await visit.keptRun()).words)).toHaveLength(2);
  await page.reload();
  await judged(visit, 22, 24);
  expect(visit.errors).toEqual([]);
  await visit.close();
});

const SIZES = {
  phone: { viewport: { width: 390, height: 844 }, hasTouch: true, isMobile: true },
  tablet: { viewport: { width: 820, height: 1180 }, hasTouch: true },
  desktop: { viewport: { width: 1280, height: 900 } },
};
test.each(Object.entries(SIZES))(
  '%s: the run fits, targets are large, axe is content, red is red',
  async (size, options) => {
    const axe = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');
    const visit = await (await site.visit(options)).begin();
    const page = await night(visit);
    await page.screenshot({ path: `${screenshots}/night-${size}-empty.png` });
    await page.getByTestId('run-files').setInputFiles(writeNight(24, eventful));
    await judged(visit, 19, 24);
    await page.getByTestId('timeline').focus();
    await page.keyboard.press('End');
    await page.getByTestId('frame-card').waitFor();
    // A phone widens its window to what sticks out, so the window itself is no measure.
    expect(await page.evaluate(() => document.documentElement.scrollWidth)).toBeLessThanOrEqual(
      options.viewport.width,
    );
    const small = await page.evaluate(() =>
      [...document.querySelectorAll<HTMLElement>('[data-testid="night"] :is(button, input, [role="slider"])')]
        .filter((element) => element.checkVisibility() && !element.closest('.hidden, label'))
        .filter((element) => {
          const { width, height } = element.getBoundingClientRect();
          return Math.round(width) < 44 || Math.round(height) < 44;
        })
        .map((element) => element.outerHTML),
    );
    expect(small).toEqual([]);
    await page.screenshot({ path: `${screenshots}/night-${size}.png`, fullPage: true });
    await page.evaluate(axe);
    for (const light of ['Dark page', 'Light page', 'Red night light']) {
      await visit.light(light);
      const found = await page.evaluate(async () => {
        type Found = { id: string; impact: string; nodes: { target: string[]; failureSummary: string }[] };
        const run = (globalThis as unknown as { axe: { run(): Promise<{ violations: Found[] }> } }).axe;
        return (await run.run()).violations
          .filter(({ impact }) => impact === 'serious' || impact === 'critical')
          .map(
            ({ id, nodes }) => `${id}: ${nodes.map((n) => `${n.target} ${n.failureSummary}`).join(' | ')}`,
          );
      });
      expect({ light, found }).toEqual({ light, found: [] });
    }
    const red = await page.screenshot({ path: `${screenshots}/night-${size}-red.png`, fullPage: true });
    const { red: lit, green, blue } = await brightestOf(page, red);
    expect([green, blue]).toEqual([0, 0]);
    expect(lit).toBeGreaterThan(200);
    await visit.close();
  },
);

test('a folder is watched: a frame that appears is measured when it is written, and a reload takes the folder up again', async () => {
  const visit = await site.visit();
  // The browser's private folder stands for the capture folder; its window for choosing cannot be driven.
  await visit.page.addInitScript(() => {
    const inBrowser = async () =>
      (await navigator.storage.getDirectory()).getDirectoryHandle('capture', { create: true });
    Object.assign(window, { showDirectoryPicker: inBrowser });
  });
  await visit.begin();
  const page = await night(visit);
  const frames = drawNight(7, () => ({}));
  const write = (i: number, part = 1) =>
    page.evaluate(
      async ({ name, base64 }) => {
        const bytes = Uint8Array.from(atob(base64), (c) => c.charCodeAt(0));
        const capture = await (
          await navigator.storage.getDirectory()
        ).getDirectoryHandle('capture', { create: true });
        const writable = await (await capture.getFileHandle(name, { create: true })).createWritable();
        await writable.write(bytes);
        await writable.close();
      },
      {
        name: `capture-${i}.fits`,
        base64: Buffer.from(frames[i].slice(0, Math.round(part * frames[i].length))).toString('base64'),
      },
    );
  for (let i = 0; i < 5; i++) await write(i);
  await page.getByRole('button', { name: 'Watch a folder' }).click();
  await page.getByTestId('folder').getByText('Watching “capture”').waitFor();
  await judged(visit, 5, 5);
  // Half a frame first: it is left alone until it is whole.
  await write(5, 0.5);
  await page.waitForTimeout(300);
  await write(5);
  await judged(visit, 6, 6);
  await page.reload();
  await page.getByTestId('folder').getByText('Watching “capture”').waitFor();
  await write(6);
  await judged(visit, 7, 7);
  expect(await page.getByTestId('listed-frame').count()).toBe(0);
  expect(await visit.recordsIn('runFrames')).toBe(7);
  // With the folder at hand, frames measured before the reload open again.
  await page.getByRole('button', { name: 'All frames' }).click();
  await page.getByRole('button', { name: 'Open capture-2.fits' }).click();
  await page.getByTestId('file-name').getByText('capture-2.fits').waitFor();
  expect(visit.errors).toEqual([]);
  await visit.close();
});

test('a mount that drifts and swings: path, longest exposure, and the period by the clock', async () => {
  const visit = await (await site.visit()).begin();
  const page = await night(visit);
  // 0.4 px a minute to the right, a worm of 8 minutes that swings by 3 px: told by the frames' places alone.
  const paths = writeNight(36, (i) => ({ xPx: 0.4 * i + 3 * Math.sin((2 * Math.PI * i) / 8), yPx: 0.1 * i }));
  await page.getByTestId('run-files').setInputFiles(paths);
  await judged(visit, 36, 36);
  const tracking = page.getByTestId('tracking');
  await tracking.getByText('Once in').waitFor();
  const value = async (name: string) =>
    parseFloat(await tracking.locator('dl > div').filter({ hasText: name }).locator('dd').innerText());
  expect(Math.abs((await value('Once in')) / 480 - 1)).toBeLessThan(0.03);
  // sqrt(0.4² + 0.1²) = 0.412.
  expect(Math.abs((await value('Drift a minute')) / Math.hypot(0.4, 0.1) - 1)).toBeLessThan(0.1);
  expect(await tracking.locator('svg').count()).toBeGreaterThanOrEqual(2);
  await page.screenshot({ path: `${screenshots}/night-tracking.png`, fullPage: true });
  expect(visit.errors).toEqual([]);
  await visit.close();
});

test('frames at several focus positions are a focus run: best position and the sensor from the side', async () => {
  const visit = await (await site.visit()).begin();
  const page = await night(visit);
  // Out of focus, the width of a light cone adds in squares: smallest at 5200, by construction.
  const positions = [4700, 4850, 5000, 5150, 5300, 5450, 5600, 5750];
  const paths = writeNight(positions.length, (i) => ({
    sigmaPx: Math.hypot(1.4, (positions[i] - 5200) / 150),
    light: 3,
    cards: [
      ['FOCUSPOS', positions[i]],
      ['XPIXSZ', 3.8],
      ['FOCALLEN', 600],
      ['APTDIA', 150],
    ],
  }));
  await page.getByTestId('run-files').setInputFiles(paths);
  const focus = page.getByTestId('focus-run');
  await focus.getByText('Best position in the middle').waitFor();
  const best = await focus
    .locator('dl > div')
    .filter({ hasText: 'Best position in the middle' })
    .locator('dd')
    .innerText();
  expect(Math.abs(parseFloat(best) - 5200)).toBeLessThan(30);
  await page.screenshot({ path: `${screenshots}/night-focus.png`, fullPage: true });
  expect(visit.errors).toEqual([]);
  await visit.close();
});

test('before sunrise the page reminds of the caps; the place is told once and remembered', async () => {
  const visit = await site.visit();
  // 04:50 UTC: an hour before the Sun rises at 50.1° N 8.7° E on that day, 05:51:54 (astropy 5.2.1).
  await visit.page.clock.setFixedTime(new Date('2026-10-18T04:50:00Z'));
  await visit.begin();
  const page = await night(visit);
  const sun = page.getByTestId('sun');
  await sun.getByLabel('Latitude, ° (south is negative)').fill('50.1');
  await sun.getByLabel('Longitude, ° (west is negative)').fill('8,7');
  await page.keyboard.press('Tab');
  await sun.getByText('in 62 min').waitFor();
  expect(await sun.innerText()).toMatch(/Cap the tube and the finder/);
  await page.reload();
  await sun.getByText('in 62 min').waitFor();
  expect(visit.errors).toEqual([]);
  await visit.close();
});
