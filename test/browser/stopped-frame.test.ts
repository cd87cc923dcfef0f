import { afterAll, beforeAll, expect, test } from 'vitest';
import { writeNight, type NightFrame } from './night-frames.ts';
import { screenshots, Site } from './page.ts';
import { fits } from './seen.ts';

const DEG = Math.PI / 180;
/** 600 mm and 3.8 µm: elementary, with 206265 arc seconds in a radian. */
const ARCSEC_PER_PX = (206265 * 3.8e-3) / 600;
const DECLINATION_DEG = 60;
/** Stars of the stopped frame run to the upper right: the lower left is east. */
const RAN_DEG = -25;
/** The run's field goes 0.4 px a minute to the right and 0.3 down. */
const DRIFT = { x: 0.4, y: 0.3 };

let site: Site;
let run: string[];
let stopped: string;
let round: string;
beforeAll(async () => {
  site = await Site.open();
  run = writeNight(14, (i): Partial<NightFrame> => ({
    xPx: DRIFT.x * i,
    yPx: DRIFT.y * i,
    cards: [
      ['RA', 40],
      ['DEC', 20],
    ],
  }));
  // Tracks for 5 s and stands for 10, at 15.041 cos(declination) arc seconds a second (handbook 7.1).
  const ranPx = (10 * 15.041067 * Math.cos(DECLINATION_DEG * DEG)) / ARCSEC_PER_PX;
  const bright = { light: 20, stars: 40, cards: [['EXPTIME', 15] as [string, number]] };
  const ran = { share: 10 / 15, xPx: ranPx * Math.cos(RAN_DEG * DEG), yPx: ranPx * Math.sin(RAN_DEG * DEG) };
  [stopped, round] = writeNight(2, (i) => ({ ...bright, ran: i === 0 ? ran : null }));
});
afterAll(() => site.close());

test.each(Object.entries(fits.sizes))(
  '%s: one frame that tracked and then stood gives east, north and arc seconds, and can be taken back',
  async (size, options) => {
    const visit = await (await site.visit(options)).begin();
    const { page } = visit;
    await page.goto(`${visit.url}#night`);
    await page.getByTestId('run-files').setInputFiles(run);
    const part = page.getByTestId('stopped-frame');
    const facts = page.getByTestId('tracking').locator('dl');
    await part.getByText('East, north and the size of a pixel').click();
    await part.getByText(/switch the drive off/).waitFor();
    await fits.check(visit, `${screenshots}/stopped-frame-${size}-asked`);
    const picker = part.getByTestId('stopped-picker');

    // The wrong frame is refused in a sentence, and nothing is changed.
    await picker.setInputFiles(round);
    await part.getByText(/No trails with a bright end/).waitFor();
    await picker.setInputFiles(run[0]);
    await part.getByText(/No trails|no bright end|Too few bright stars/).waitFor();
    expect(await facts.getByText('Drift in right ascension').count()).toBe(0);

    await picker.setInputFiles(stopped);
    await part.getByText(/^\s*East is to the left and a little down on the picture, north/).waitFor();
    await part.getByText(/the declination of this frame is needed/).waitFor();
    const declination = part.getByLabel(/declination/);
    await declination.fill('95');
    await declination.press('Tab');
    await part.getByText(/between −90 and 90/).waitFor();
    await declination.fill(String(DECLINATION_DEG));
    await declination.press('Tab');
    const says = await part.getByText(/^\s*One pixel is/).innerText();
    expect(Math.abs(Number(/is ([\d.]+) ±/.exec(says)![1]) / ARCSEC_PER_PX - 1)).toBeLessThan(0.03);
    await part.getByRole('radio', { name: 'The picture is no mirror image' }).check({ force: true });

    const fact = async (name: string) => {
      const row = facts.locator('> div').filter({ hasText: name });
      const [, value, way] = /([\d.]+)(?: ± [\d.]+)?″ to the (\w+)/.exec(
        await row.locator('dd').innerText(),
      )!;
      return { value: Number(value), way };
    };
    await facts.getByText('Drift in right ascension').waitFor();
    // East lies against the run of the stars; north is a quarter turn on from it, from +x to +y, on a true picture.
    const [east, north] = [RAN_DEG + 180, RAN_DEG + 270].map(
      (deg) => ARCSEC_PER_PX * (DRIFT.x * Math.cos(deg * DEG) + DRIFT.y * Math.sin(deg * DEG)),
    );
    const [ra, dec] = [await fact('right ascension, a minute'), await fact('declination, a minute')];
    expect(ra.way).toBe(east > 0 ? 'east' : 'west');
    expect(dec.way).toBe(north > 0 ? 'north' : 'south');
    expect(Math.abs(ra.value / Math.abs(east) - 1)).toBeLessThan(0.06);
    expect(Math.abs(dec.value / Math.abs(north) - 1)).toBeLessThan(0.06);

    // With a place on the Earth the drift in declination speaks of the polar axis.
    const sun = page.getByTestId('sun');
    await sun.getByLabel(/Latitude/).fill('50');
    await sun.getByLabel(/Longitude/).fill('10');
    await page.keyboard.press('Enter');
    await page
      .getByTestId('polar')
      .getByText(/arc minutes/)
      .waitFor();
    await fits.check(visit, `${screenshots}/stopped-frame-${size}`);

    // It stays over a reload, with what was told of it, and can be taken back and brought back.
    await expect.poll(async () => (await visit.keptRun()).stopped?.told.declinationDeg).toBe(DECLINATION_DEG);
    await page.reload();
    await facts.getByText('Drift in right ascension').waitFor();
    expect(await part.getByLabel(/declination/).inputValue()).toBe(String(DECLINATION_DEG));
    await part.getByRole('button', { name: 'Take this frame back' }).click();
    await facts.getByText('Drift in right ascension').waitFor({ state: 'detached' });
    await part.getByRole('button', { name: /^Bring night-000.fits back/ }).click();
    await facts.getByText('Drift in right ascension').waitFor();

    // A run that is begun with the camera as it was takes the frame over, and keeps it.
    await page.getByRole('button', { name: 'Begin a new run' }).click();
    await page.getByTestId('earlier-run').waitFor();
    await page.getByTestId('run-files').setInputFiles(run.slice(0, 12));
    await part.getByText('East, north and the size of a pixel').click();
    const over = part.getByRole('button', { name: /^Take over night-000.fits of 17 Oct 2026/ });
    await over.waitFor();
    await page.screenshot({ path: `${screenshots}/stopped-frame-${size}-over.png`, fullPage: true });
    await over.click();
    await facts.getByText('Drift in right ascension').waitFor();
    expect(await part.getByLabel(/declination/).inputValue()).toBe(String(DECLINATION_DEG));
    await expect
      .poll(async () => (await visit.keptRuns())[1].stopped?.told.declinationDeg)
      .toBe(DECLINATION_DEG);
    await page.reload();
    await facts.getByText('Drift in right ascension').waitFor();
    expect(visit.errors).toEqual([]);
    await visit.close();
  },
  240_000,
);
