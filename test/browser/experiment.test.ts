import type { Locator } from 'playwright-core';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { screenshots, Site, type Visit } from './page.ts';
import { fits } from './seen.ts';
import { simulated } from './simulated.ts';

let site: Site;
beforeAll(async () => {
  site = await Site.open();
});
afterAll(() => site.close());

/** A frame of a telescope that drifts evenly: 12 µm in 20 s, so half of it in 10 s. */
const drifted = (exposureS: number, seed: number) =>
  simulated({
    motion: [{ kind: 'drift', vectorUm: { x: (12 * exposureS) / 20, y: (5 * exposureS) / 20 } }],
    exposureS,
    seed,
  });

const picked = (name: string, bytes: Uint8Array) => ({
  name,
  mimeType: 'application/octet-stream',
  buffer: Buffer.from(bytes),
});

/** The frame is measured and explained, and the experiment that is named is laid out. */
async function begun(visit: Visit, bytes: Uint8Array, title: string): Promise<Locator> {
  await visit.measure('before.fits', bytes);
  await visit.explained();
  const panel = visit.page.getByTestId('experiment');
  await panel.getByRole('button').first().click();
  await panel.getByText('Another experiment').click();
  await panel.getByRole('radio', { name: title }).check({ force: true });
  await panel.getByRole('heading', { name: title }).waitFor();
  await panel.getByText('Another experiment').click();
  return panel;
}

test('an experiment from the verdict to the frames that decide, without losing the frame on the page', async () => {
  const visit = await (await site.visit()).begin();
  const { page } = visit;
  await visit.measure('long.fits', drifted(20, 1));
  await visit.explained();
  const panel = page.getByTestId('experiment');
  await panel.getByRole('button').first().click();
  await panel.getByText('Another experiment').click();
  await panel.getByRole('radio', { name: 'Halve the exposure' }).check({ force: true });
  expect(await panel.getByRole('listitem').first().innerText()).toMatch(/half the exposure/i);

  // The wrong frame is told, and teaches nothing.
  const give = (name: string, bytes: Uint8Array) =>
    page.getByTestId('experiment-picker').setInputFiles(picked(name, bytes));
  await give('same.fits', drifted(20, 2));
  const judgement = page.getByTestId('judgement');
  await judgement.getByText(/the same as before/).waitFor();
  await panel.getByRole('button', { name: 'Leave out' }).click();

  await give('half-1.fits', drifted(10, 3));
  await judgement.waitFor();
  await give('half-2.fits', drifted(10, 4));
  await panel.getByText('half-2.fits').waitFor();
  // A steady drift of half the time is half as long: the frames must say tracking.
  expect(await judgement.locator('.sentence').innerText()).toMatch(/tracking/);
  expect(await judgement.locator('.sentence').innerText()).not.toMatch(/does not decide/);
  expect(await visit.fileName()).toBe('long.fits');
  await panel.scrollIntoViewIfNeeded();
  await page.screenshot({ path: `${screenshots}/experiment-desktop.png` });
  await page.setViewportSize({ width: 390, height: 844 });
  await panel.scrollIntoViewIfNeeded();
  await page.screenshot({ path: `${screenshots}/experiment-phone.png` });
  expect(await panel.evaluate((element) => element.scrollWidth - element.clientWidth)).toBeLessThanOrEqual(0);
  // A window made narrower with everything open: the plate of stars is drawn anew.
  await expect.poll(() => visit.beyond()).toBe(0);
  expect(await visit.seriousFaults()).toEqual([]);
  expect(await visit.smallTargets()).toEqual([]);
  expect(visit.errors).toEqual([]);
  await visit.close();
}, 240_000);

/** The page with the experiment open on three screens, and the experiment itself as a picture. */
async function seen(visit: Visit, panel: Locator, name: string): Promise<void> {
  for (const [size, { viewport }] of Object.entries(fits.sizes)) {
    await visit.page.setViewportSize(viewport);
    await visit.light('Dark page');
    // What is drawn anew for the width is there.
    await expect.poll(() => visit.beyond()).toBe(0);
    await fits.check(visit, `${screenshots}/experiment-${name}-${size}`);
    await panel.screenshot({ path: `${screenshots}/experiment-${name}-${size}-part.png` });
  }
}

/** A sensor 100 µm inside focus; stepped outwards by `stepUm`. */
const unfocused = (stepUm: number, seed: number) =>
  simulated({ optics: { focusUm: -100 + stepUm }, exposureS: 10, seed });
/** What the page asks for at f/5: five times the focal ratio squared. */
const STEP_UM = 125;

test('a step of the focuser tells a lost focus from the air', async () => {
  const visit = await (await site.visit()).begin();
  const { page } = visit;
  const panel = await begun(visit, unfocused(0, 11), 'Move the focus by a small step');
  await panel.getByLabel('How far the focuser was moved').fill(String(STEP_UM));
  await panel.getByRole('radio', { name: 'away from the telescope' }).check({ force: true });
  await page.getByTestId('experiment-picker').setInputFiles(picked('stepped.fits', unfocused(STEP_UM, 12)));
  const judgement = page.getByTestId('judgement');
  await judgement.waitFor();
  const sentence = await judgement.locator('.sentence').innerText();
  // The scene is out of focus everywhere by the same amount, and the step leads through focus.
  expect(sentence).toMatch(/focus/i);
  expect(sentence).not.toMatch(/does not decide|the air/i);
  // It lay 100 µm too far in before: told to a quarter, which the law of variances holds to (0.12) twice over.
  const [, um] = /lay (\d+) ± \d+ µm before focus: move it outwards/.exec(await judgement.innerText())!;
  expect(Math.abs(Number(um) / 100 - 1)).toBeLessThan(0.25);
  expect(await visit.fileName()).toBe('before.fits');
  await seen(visit, panel, 'step');
  await visit.close();
}, 240_000);

/** A field lopsided in the picture: the sensor lies out of focus towards +x by `um` per mm. */
const lopsided = (um: number, seed: number) =>
  simulated({ optics: { focusUm: 25, tiltUmPerMm: { x: um, y: 0 } }, exposureS: 10, seed });

test('the camera turned by a half tells a leaning sensor from a leaning tube', async () => {
  const visit = await (await site.visit()).begin();
  const { page } = visit;
  const panel = await begun(visit, lopsided(30, 21), 'Turn the camera');
  const give = (name: string, bytes: Uint8Array) =>
    page.getByTestId('experiment-picker').setInputFiles(picked(name, bytes));
  const sentence = page.getByTestId('judgement').locator('.sentence');
  // How far it was turned is asked for, and nothing is judged without it.
  await give('camera.fits', lopsided(30, 22));
  await sentence.getByText(/is needed: say 90 or 180/).waitFor();
  await panel.getByRole('radio', { name: 'a half' }).check({ force: true });
  // The picture turned with the camera, and the lean did not turn in it: it sits in the camera.
  await sentence.getByText(/stayed where it was in the picture: the sensor leans in the camera/).waitFor();
  await seen(visit, panel, 'turn');
  await panel.getByRole('button', { name: 'Leave out' }).click();
  await give('tube.fits', lopsided(-30, 23));
  await sentence.getByText(/turned in the picture: it belongs to the tube/).waitFor();
  expect(await visit.fileName()).toBe('before.fits');
  expect(visit.errors).toEqual([]);
  await visit.close();
}, 240_000);
