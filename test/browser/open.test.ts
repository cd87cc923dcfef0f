import { afterAll, beforeAll, expect, test } from 'vitest';
import { drawFrame, even, FWHM_PER_SIGMA, widening } from './frames.ts';
import { Site } from './page.ts';

let site: Site;
beforeAll(async () => {
  site = await Site.open();
});
afterAll(() => site.close());

test('opens with the first demo frame already measured, and says what the page is and what leaves it', async () => {
  const visit = await (await site.visit()).begin();
  expect(await visit.page.getByLabel('What this page does').innerText()).toContain('leaves this machine');
  expect((await visit.sentence()).length).toBeGreaterThan(30);
  const centre = await visit.number('centre');
  expect(centre.value).toBeGreaterThan(0.5);
  expect(centre.sigma).toBeLessThan(centre.value / 5);
  await visit.page.getByRole('button', { name: 'Got it' }).click();
  await visit.page.reload();
  await visit.page.getByTestId('sentence').waitFor();
  expect(await visit.page.getByLabel('What this page does').count()).toBe(0);
  expect(visit.errors).toEqual([]);
  await visit.close();
});

test('the regions tell each colour of a mosaic on its own pixels, and nothing of colours for a monochrome frame', async () => {
  const visit = await (await site.visit()).begin();
  await visit.measure('mosaic.fits', drawFrame(() => 1.8, [['BAYERPAT', 'RGGB']]).bytes);
  await visit.tab('Regions');
  const colours = visit.page.getByTestId('colours');
  for (const colour of ['red', 'green', 'blue']) {
    const cells = colours.locator(`[data-colour="${colour}"] td`);
    await cells.first().waitFor();
    // Drawn with the same width in all colours; 2 % as for the centre above.
    expect(Math.abs(parseFloat(await cells.nth(0).innerText()) / (1.8 * FWHM_PER_SIGMA) - 1)).toBeLessThan(
      0.02,
    );
  }
  await visit.measure('monochrome.fits', drawFrame(() => 1.8).bytes);
  await colours.waitFor({ state: 'detached' });
  expect(visit.errors).toEqual([]);
  await visit.close();
});

test('a dropped frame is measured, and the numbers on the page are those that were drawn', async () => {
  const frame = widening();
  const visit = await (await site.visit()).begin();
  await visit.measure('widening.fits', frame.bytes);
  await visit.page.getByRole('status').getByText('is measured').waitFor();

  // Truth: mean width of the stars drawn in each ninth. A fiftieth is what a glance at the page can tell apart; the
  // star-to-star spread inside a ninth and the robust mean make about half of it.
  const mean = (inside: (u: number, v: number) => boolean) => {
    const widths = frame.stars
      .filter(({ xPx, yPx }) => inside(xPx / frame.widthPx, yPx / frame.heightPx))
      .map(({ sigmaPx }) => FWHM_PER_SIGMA * sigmaPx);
    return widths.reduce((sum, width) => sum + width, 0) / widths.length;
  };
  const third = (t: number) => Math.floor(3 * t);
  const centre = mean((u, v) => third(u) === 1 && third(v) === 1);
  const corners = mean((u, v) => third(u) !== 1 && third(v) !== 1);
  expect(Math.abs((await visit.number('centre')).value / centre - 1)).toBeLessThan(0.02);
  expect(Math.abs((await visit.number('corners')).value / corners - 1)).toBeLessThan(0.02);
  expect(await visit.page.locator('.answer').innerText()).toMatch(/\(\d+\s%\swider\)/);

  await visit.tab('Regions');
  const cell = (region: string, column: string) =>
    visit.page.locator(`[data-region="${region}"] [data-column="${column}"]`).innerText();
  const drawn = frame.stars.filter(
    ({ xPx, yPx }) => third(xPx / frame.widthPx) === 2 && third(yPx / frame.heightPx) === 0,
  );
  expect(Number(await cell('top right', 'stars'))).toBe(drawn.length);
  const topRight = mean((u, v) => third(u) === 2 && third(v) === 0);
  expect(Math.abs(parseFloat(await cell('top right', 'fwhm')) / topRight - 1)).toBeLessThan(0.03);
  expect(parseFloat(await cell('centre', 'elongation'))).toBeLessThan(1.02);
  expect(visit.errors).toEqual([]);
  await visit.close();
});

test('round stars of one width are told as such', async () => {
  const visit = await (await site.visit()).begin();
  await visit.measure('even.fits', even().bytes);
  const answer = visit.page.locator('.answer');
  await answer.getByText('the corners match the centre').waitFor();
  await answer.getByText('nowhere are they longer than wide').waitFor();
  await visit.close();
});

test('the brightest star opens with the place and width that it was drawn with', async () => {
  const frame = widening();
  const visit = await (await site.visit()).begin();
  await visit.measure('widening.fits', frame.bytes);
  await visit.page.getByRole('button', { name: 'Walk the stars' }).click();
  const [xPx, yPx] = [await visit.starValue('x'), await visit.starValue('y')];
  const star = frame.stars.find((s) => Math.hypot(s.xPx - xPx, s.yPx - yPx) < 1)!;
  expect(Math.hypot(star.xPx - xPx, star.yPx - yPx)).toBeLessThan(0.03);
  expect(
    Math.abs((await visit.starValue('Width (FWHM)')) / (FWHM_PER_SIGMA * star.sigmaPx) - 1),
  ).toBeLessThan(0.02);
  const flux = (s: (typeof frame.stars)[number]) => s.peakAdu * s.sigmaPx ** 2;
  expect(flux(star)).toBe(Math.max(...frame.stars.map(flux)));
  await visit.close();
});

test('a click on a star of the frame opens that star', async () => {
  const frame = widening();
  const visit = await (await site.visit()).begin();
  await visit.measure('widening.fits', frame.bytes);
  const view = visit.page.getByRole('application');
  const box = (await view.boundingBox())!;
  // The frame is seen whole, centred: where a star is on the screen follows from its place by plane geometry.
  const zoom = Math.min(box.width / frame.widthPx, box.height / frame.heightPx);
  const star = frame.stars[52];
  await view.click({
    position: {
      x: box.width / 2 + (star.xPx - (frame.widthPx - 1) / 2) * zoom,
      y: box.height / 2 + (star.yPx - (frame.heightPx - 1) / 2) * zoom,
    },
  });
  expect(
    Math.hypot((await visit.starValue('x')) - star.xPx, (await visit.starValue('y')) - star.yPx),
  ).toBeLessThan(0.3);
  await visit.close();
});

test('lengths switch everywhere at once when the scale is known, and can be told when it is not', async () => {
  const cards: [string, number][] = [
    ['XPIXSZ', 4],
    ['FOCALLEN', 825.06],
  ];
  const visit = await (await site.visit()).begin();
  await visit.measure('scaled.fits', drawFrame(() => 1.6, cards).bytes);
  const inPx = await visit.number('centre');
  expect(inPx.unit).toBe('px');
  await visit.page.getByRole('radio', { name: 'arc seconds' }).check({ force: true });
  const inArcsec = await visit.number('centre');
  expect(inArcsec.unit).toBe('arcsec');
  // 206.264806 * 4 / 825.06 = 1.0000 arc seconds per pixel, 4 micrometres per pixel.
  expect(inArcsec.value).toBeCloseTo(inPx.value, 1);
  await visit.page.getByRole('radio', { name: 'micrometres' }).check({ force: true });
  expect(Math.abs((await visit.number('centre')).value - 4 * inPx.value)).toBeLessThan(0.03);
  await visit.tab('Regions');
  expect(await visit.page.locator('thead').innerText()).toContain('µm');

  await visit.measure('unscaled.fits', drawFrame(() => 1.6).bytes);
  expect((await visit.number('centre')).unit).toBe('px');
  await visit.tab('File');
  await visit.page.getByLabel('Pixel size').fill('2,0');
  await visit.page.getByRole('radio', { name: 'micrometres' }).check({ force: true });
  expect(Math.abs((await visit.number('centre')).value - 2 * inPx.value)).toBeLessThan(0.03);
  await visit.close();
});
