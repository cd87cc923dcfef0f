// More frames of a poor field: from the verdict's advice to what all say, on three screens and in red light.
import { afterAll, beforeAll, expect, test } from 'vitest';
import { poorFrames } from '../support/poor-frames.ts';
import { screenshots, Site } from './page.ts';
import { fits } from './seen.ts';

let site: Site;
beforeAll(async () => {
  site = await Site.open();
});
afterAll(() => site.close());

const file = (name: string, bytes: Uint8Array) => ({
  name,
  mimeType: 'application/octet-stream',
  buffer: Buffer.from(bytes),
});

test('frames of a poor field together: given, left out, stopped, explained, and the frame on the page stays', async () => {
  const [asked, second, third] = poorFrames(3, 20);
  const [stranger] = poorFrames(1, 20, true);
  const visit = await (await site.visit()).begin();
  const { page } = visit;
  await visit.measure('poor.fits', asked);
  await visit.explained();
  const panel = page.getByTestId('together');
  await page.getByRole('button', { name: 'Add frames of this field' }).click();
  const picker = page.getByTestId('together-picker');

  // Frames that do not belong there end in a sentence, and nothing is lost.
  await picker.setInputFiles([file('stranger.fits', stranger)]);
  const trouble = page.getByTestId('together-trouble');
  await trouble.waitFor();
  expect(await trouble.innerText()).toMatch(/stranger\.fits.*another field/);
  await panel.getByRole('button', { name: 'Leave out' }).click();
  await trouble.waitFor({ state: 'detached' });

  await picker.setInputFiles([file('two.fits', second), file('three.fits', third)]);
  await panel.getByTestId('explaining').waitFor();
  await panel.getByRole('button', { name: 'Stop' }).click();
  await panel.getByRole('button', { name: 'Explain them together' }).click();
  const result = page.getByTestId('together-result');
  await result.waitFor({ timeout: 180_000 });
  // Truth (test/support/poor-frames.ts): the sensor leans, the same in all; every frame drifted its own way.
  expect(await result.locator('.sentence').innerText()).toMatch(/leans/);
  expect(await result.locator('.notes').innerText()).toMatch(/repeats in all 3 frames.*a leaning sensor/s);
  const frames = result.locator('.frames > li');
  expect(await frames.count()).toBe(3);
  expect(await frames.nth(0).innerText()).toMatch(/poor\.fits[\s\S]*moved by [\d.]+ ± [\d.]+/);
  expect(await visit.fileName()).toBe('poor.fits');

  // The same frame once more counts once.
  await picker.setInputFiles([file('two.fits', second)]);
  expect(visit.errors).toEqual([]);

  for (const [name, { viewport }] of Object.entries(fits.sizes)) {
    await page.setViewportSize(viewport);
    await visit.light('Dark page');
    await result.scrollIntoViewIfNeeded();
    expect(await panel.evaluate((element) => element.scrollWidth - element.clientWidth)).toBeLessThanOrEqual(
      0,
    );
    await fits.check(visit, `${screenshots}/together-${name}`);
  }
  await visit.close();
}, 300_000);

test('in the run: a frame with its neighbours', async () => {
  const frames = poorFrames(3, 20);
  const visit = await (await site.visit()).begin();
  const { page } = visit;
  await page.goto(`${visit.url}#night`);
  await page
    .getByTestId('run-files')
    .setInputFiles(frames.map((bytes, i) => file(`night-${i + 1}.fits`, bytes)));
  const timeline = page.getByTestId('timeline');
  await timeline.waitFor({ timeout: 60_000 });
  await expect.poll(() => timeline.getAttribute('aria-valuemax'), { timeout: 60_000 }).toBe('3');
  await timeline.focus();
  await page.keyboard.press('Home');
  const part = page.getByTestId('neighbours');
  await part.getByRole('button', { name: 'Explain it with the 2 frames next to it' }).click();
  const result = part.getByTestId('together-result');
  await result.waitFor({ timeout: 180_000 });
  expect(await result.locator('.frames > li').count()).toBe(3);
  expect(await result.locator('.sentence').innerText()).toMatch(/leans/);
  await part.scrollIntoViewIfNeeded();
  await page.screenshot({ path: `${screenshots}/together-run.png` });
  expect(visit.errors).toEqual([]);
  await visit.close();
}, 200_000);
