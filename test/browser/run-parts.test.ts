import { afterAll, beforeAll, expect, test } from 'vitest';
import { writeNight, type NightFrame } from './night-frames.ts';
import { screenshots, Site } from './page.ts';
import { fits } from './seen.ts';

let site: Site;
beforeAll(async () => {
  site = await Site.open();
});
afterAll(() => site.close());

/** A mount that drifts to the lower right (x to the right, y down) by 0.5 px a minute and swings in x once in 8 min. */
const swinging = (i: number): Partial<NightFrame> => ({
  xPx: 0.35 * i + 3 * Math.sin((2 * Math.PI * i) / 8),
  yPx: 0.35 * i,
});
/** A focuser stepped through focus, 20 steps a frame: stars grow like a hyperbola about position 5080. */
const stepped = (i: number): Partial<NightFrame> => ({
  sigmaPx: Math.hypot(1.4, 0.03 * (20 * i - 80)),
  cards: [['FOCUSPOS', 5000 + 20 * i]],
});

test.each(Object.entries(fits.sizes))(
  '%s: tracking and the Sun, as they are seen',
  async (size, options) => {
    const visit = await (await site.visit(options)).begin();
    const { page } = visit;
    await page.goto(`${visit.url}#night`);
    await page.getByTestId('run-files').setInputFiles(writeNight(24, swinging));
    await page
      .getByTestId('left-out')
      .getByText(/^\s*24 frames of 24\s/)
      .waitFor();
    const tracking = page.getByTestId('tracking');
    await tracking.getByText(/to the lower right, about 0\.\d+ px a minute/).waitFor();
    // The drawn swing is smooth: nothing of nudges or something loose.
    expect(await tracking.innerText()).not.toMatch(/unevenly|[+]x|\d\.\d{4}/);
    const sun = page.getByTestId('sun');
    await sun.getByLabel(/Latitude/).fill('50');
    await sun.getByLabel(/Longitude/).fill('10');
    await page.keyboard.press('Enter');
    await sun.getByText(/cap the tube and the finder/i).waitFor();
    await fits.check(visit, `${screenshots}/tracking-${size}`);
    await visit.close();
  },
  120_000,
);

test.each(Object.entries(fits.sizes))(
  '%s: a focus run, as it is seen',
  async (size, options) => {
    const visit = await (await site.visit(options)).begin();
    const { page } = visit;
    await page.goto(`${visit.url}#night`);
    await page.getByTestId('run-files').setInputFiles(writeNight(9, stepped));
    await page.getByTestId('focus-run').waitFor();
    await fits.check(visit, `${screenshots}/focus-run-${size}`);
    await visit.close();
  },
  120_000,
);
