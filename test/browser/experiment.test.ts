import { afterAll, beforeAll, expect, test } from 'vitest';
import { simulateExposure } from '../../workers/simulate/exposure.ts';
import { writeFits16 } from '../../workers/simulate/fits.ts';
import { makeScene } from '../../workers/simulate/scene.ts';
import { screenshots, Site } from './page.ts';

let site: Site;
beforeAll(async () => {
  site = await Site.open();
});
afterAll(() => site.close());

/** A frame of a telescope that drifts evenly: 12 µm in 20 s, so half of it in 10 s. */
function drifted(exposureS: number, seed: number): Uint8Array {
  const scene = makeScene({
    rig: { widthPx: 640, heightPx: 480 },
    motion: [{ kind: 'drift', vectorUm: { x: (12 * exposureS) / 20, y: (5 * exposureS) / 20 } }],
    stars: { count: 60, faintestElectrons: 6000, brightestElectrons: 200_000, slope: 0.4 },
    exposureS,
    seed,
  });
  const { pixels, widthPx, heightPx } = simulateExposure(scene);
  return writeFits16(pixels, widthPx, heightPx, [
    ['EXPTIME', exposureS],
    ['XPIXSZ', scene.rig.pixelSizeUm],
    ['FOCALLEN', scene.rig.focalLengthMm],
    ['APTDIA', scene.rig.focalLengthMm / scene.rig.focalRatio],
  ]);
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
    page
      .getByTestId('experiment-picker')
      .setInputFiles({ name, mimeType: 'application/octet-stream', buffer: Buffer.from(bytes) });
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
