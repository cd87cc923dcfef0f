import { afterAll, beforeAll, expect, test } from 'vitest';
import { widening } from './frames.ts';
import { brightestOf, Site, type Visit } from './page.ts';

let site: Site;
beforeAll(async () => {
  site = await Site.open();
});
afterAll(() => site.close());

const MAPS = ['How wide', 'Which way they lean', 'Which way they flare', 'in focus', 'moved', 'leaves over'];
/** Polls longer than usual: a machine may be busy with other work. */
const soon = <T>(ask: () => Promise<T>) => expect.poll(ask, { timeout: 30_000 });
const card = (visit: Visit) => visit.page.getByTestId('star-card');
const chooseMap = (visit: Visit, name: string) =>
  visit.page.getByRole('radio', { name }).check({ force: true });

/** Brightness (mean of red, green, blue) of each pixel of the star card's pictures, in their order. */
const pictures = (visit: Visit) =>
  visit.page.evaluate(() =>
    [...document.querySelectorAll<HTMLCanvasElement>('[data-testid="star-card"] canvas')].map((canvas) => {
      const { data } = canvas.getContext('2d')!.getImageData(0, 0, canvas.width, canvas.height);
      return Array.from(
        { length: data.length / 4 },
        (_, i) => (data[4 * i] + data[4 * i + 1] + data[4 * i + 2]) / 3,
      );
    }),
  );

function correlation(a: number[], b: number[]): number {
  const mean = (values: number[]) => values.reduce((sum, value) => sum + value, 0) / values.length;
  const [ma, mb] = [mean(a), mean(b)];
  const product = (x: number[], mx: number, y: number[], my: number) =>
    x.reduce((sum, value, i) => sum + (value - mx) * (y[i] - my), 0);
  return product(a, ma, b, mb) / Math.sqrt(product(a, ma, a, ma) * product(b, mb, b, mb));
}

test('a star opens beside its model by the keyboard, and the next and the one before', async () => {
  const visit = await (await site.visit()).begin();
  await visit.explained();
  await visit.page.getByRole('application').focus();
  // Past the few that the camera's limit cuts off.
  for (let i = 0; i < 12; i++) await visit.page.keyboard.press('n');
  await card(visit).getByText('Star 12 ').waitFor();
  await card(visit).getByText('What is left over').waitFor();
  const [pixels, model, rest] = await pictures(visit);
  // The demo is drawn by the simulator, which shares no code with the model: a picture of the wrong star, a shifted or a
  // mirrored one, or none at all does not follow the pixels as closely.
  expect(correlation(pixels, model)).toBeGreaterThan(0.97);
  expect(Math.abs(correlation(pixels, rest))).toBeLessThan(0.6);
  expect(await card(visit).locator('dl').innerText()).toMatch(
    /Flux by the model\s+[\d\s]+± [\d\s]+ electrons/,
  );

  await card(visit).getByRole('button', { name: 'Fainter star' }).focus();
  await visit.page.keyboard.press('ArrowRight');
  await card(visit).getByText('Star 13 ').waitFor();
  await visit.page.keyboard.press('ArrowLeft');
  await visit.page.keyboard.press('ArrowLeft');
  await card(visit).getByText('Star 11 ').waitFor();
  await visit.page.keyboard.press('Escape');
  await card(visit).waitFor({ state: 'detached' });
  expect(visit.errors).toEqual([]);
  await visit.close();
});

test('without a fit a star is its pixels and its profile; a swipe goes on to the next', async () => {
  const visit = await (
    await site.visit({ viewport: { width: 390, height: 844 }, hasTouch: true, isMobile: true })
  ).begin();
  await visit.measure('widening.fits', widening().bytes);
  await visit.page.getByTestId('explaining').getByRole('button', { name: 'Stop' }).click();
  await visit.page.getByRole('button', { name: 'Walk the stars' }).click();
  await card(visit).getByText('Once the causes are found').waitFor();
  expect(await pictures(visit)).toHaveLength(1);
  expect(await card(visit).locator('svg .profile-point').count()).toBeGreaterThan(50);

  await card(visit).locator('canvas').first().scrollIntoViewIfNeeded();
  const box = (await card(visit).locator('canvas').first().boundingBox())!;
  const finger = await visit.page.context().newCDPSession(visit.page);
  const at = (x: number) => [{ x, y: box.y + box.height / 2 }];
  await finger.send('Input.dispatchTouchEvent', { type: 'touchStart', touchPoints: at(box.x + 100) });
  for (const x of [80, 60, 30])
    await finger.send('Input.dispatchTouchEvent', { type: 'touchMove', touchPoints: at(box.x + x) });
  await finger.send('Input.dispatchTouchEvent', { type: 'touchEnd', touchPoints: [] });
  await card(visit).getByText('Star 2 ').waitFor();
  await visit.close();
});

test('the map of focus finds the tilt that the demo was drawn with, and shows it from the side', async () => {
  const visit = await (await site.visit()).begin();
  await visit.demo('With the borrowed adapter');
  await visit.explained();
  await visit.tab('Maps');
  await chooseMap(visit, 'Where it is in focus');
  const words = await visit.page.getByTestId('focus-words').innerText();
  // workers/simulate/evening.ts: 36 and -16 micrometres per millimetre, so 39.4 towards -24 degrees; y runs down.
  const [, slope, sigma] = /the top right: ([\d.]+) ± ([\d.]+)\sµm per mm/.exec(words)!.map(Number);
  expect(Math.abs(slope - Math.hypot(36, 16))).toBeLessThan(3 * sigma + 0.05);
  const ends = [...words.matchAll(/([+−]\d+)\sµm/g)].map(([, um]) => Number(um.replace('−', '-')));
  expect(ends[0]).toBeLessThan(0);
  expect(ends[2]).toBeGreaterThan(0);
  expect(await visit.page.locator('#panel-maps .focus-line.zero').count()).toBe(1);
  const title = visit.page.locator('.side .axis-title').first();
  expect(await title.textContent()).toContain('px');
  await visit.page.getByRole('radio', { name: 'micrometres' }).check({ force: true });
  await soon(() => title.textContent()).toContain('mm');
  expect(visit.errors).toEqual([]);
  await visit.close();
});

test('the map of motion tells the path that the demo was drawn with', async () => {
  const visit = await (await site.visit()).begin();
  await visit.demo('The wide field');
  await visit.explained();
  await visit.tab('Maps');
  await chooseMap(visit, 'How they moved');
  const map = visit.page.locator('#panel-maps figure');
  await map.locator('.whisker').first().waitFor();
  await visit.page.getByRole('radio', { name: 'micrometres' }).check({ force: true });
  // workers/simulate/evening.ts: a drift of 21 and 6 micrometres.
  await map.getByText(/Every star moved/).waitFor();
  const [, length, sigma] = /moved ([\d.]+) ± ([\d.]+)/.exec(await map.innerText())!.map(Number);
  expect(Math.abs(length - Math.hypot(21, 6))).toBeLessThan(3 * sigma + 0.1);
  await visit.close();
});

test('each map has its model beside it, in red too, and axe finds nothing serious', async () => {
  const visit = await (await site.visit()).begin();
  await visit.explained();
  await visit.page.getByRole('button', { name: 'Walk the stars' }).click();
  await card(visit).getByText('left over', { exact: true }).waitFor();
  expect(await visit.seriousFaults()).toEqual([]);
  await visit.light('Red night light');
  const onlyRed = async () => {
    const seen = await brightestOf(visit.page, await visit.page.screenshot({ fullPage: true }));
    expect([seen.green, seen.blue]).toEqual([0, 0]);
    expect(seen.red).toBeGreaterThan(200);
  };
  await onlyRed();
  await visit.tab('Maps');
  for (const name of MAPS) {
    await chooseMap(visit, name);
    const drawn = visit.page.locator('#panel-maps figure :is(path, canvas, circle)');
    await soon(() => drawn.count()).toBeGreaterThan(3);
    await soon(() => visit.page.locator('#panel-maps').innerText()).not.toMatch(/being drawn|being compared/);
    await onlyRed();
    expect(await visit.seriousFaults()).toEqual([]);
  }
  expect(visit.errors).toEqual([]);
  await visit.close();
});

test('a cause that is switched off leaves narrower stars; what is left of little is known less well', async () => {
  const visit = await (await site.visit()).begin();
  await visit.explained();
  await visit.tab('Causes');
  const left = visit.page.getByTestId('widths-left');
  const corners = async () => {
    const cells = await left.locator('[data-row="cornersPx"] td').allInnerTexts();
    return cells.map((text) => /([\d.]+) ± ([\d.]+)/.exec(text)?.slice(1).map(Number) ?? [NaN, NaN]);
  };
  await soon(async () => (await corners()).flat().every(Number.isFinite)).toBe(true);
  const [[whole], [gone]] = await corners();
  expect(gone).toBeLessThan(0.85 * whole);

  await visit.page.getByRole('switch', { name: 'Air, tube and shake in the model' }).click();
  await left.getByText('Without air, tube and shake').waitFor();
  await soon(async () => (await corners())[1][0]).not.toBe(gone);
  await visit.page.getByRole('switch', { name: 'Coma in the model' }).click();
  await left.getByText('Without air, tube and shake and coma').waitFor();
  await soon(async () => (await corners())[1][0]).toBeLessThan(0.75 * gone);
  const [[, sigmaWhole], [, sigmaLeft]] = await corners();
  expect(sigmaLeft).toBeGreaterThan(sigmaWhole);
  expect(await visit.seriousFaults()).toEqual([]);

  await left.getByRole('button', { name: 'All on' }).click();
  await soon(async () => (await corners())[1][0]).toBe(gone);
  await visit.page.getByRole('button', { name: /^Coma/ }).first().click();
  const detail = visit.page.getByTestId('detail-coma');
  await detail.getByText(/Seen in \d+ stars/).waitFor();
  expect(await detail.innerText()).not.toMatch(/chi/i);
  expect(visit.errors).toEqual([]);
  await visit.close();
});
