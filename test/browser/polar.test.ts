import { afterAll, beforeAll, expect, test } from 'vitest';
import type { FitsCard } from '../../workers/simulate/fits.ts';
import { writeNight } from './night-frames.ts';
import { screenshots, Site } from './page.ts';
import { fits } from './seen.ts';

const DEG = Math.PI / 180;
const ARCSEC_PER_PX = 1.3;
const LATITUDE_DEG = 50;
const AXIS = { highArcmin: 6, eastArcmin: -9 };

/** Drift in declination by the handbook of formulas, 7.2: arc seconds a minute, north positive. */
const driftAt = (hourAngleH: number): number => {
  const hour = hourAngleH * 15 * DEG;
  return (
    -0.26252 *
    (AXIS.highArcmin * Math.sin(hour) + AXIS.eastArcmin * Math.cos(LATITUDE_DEG * DEG) * Math.cos(hour))
  );
};
/** North up, east to the left, without where on the sky: that is for hands to tell, and no refraction was drawn. */
const north: FitsCard[] = [
  ['CTYPE1', 'RA---TAN'],
  ['CTYPE2', 'DEC--TAN'],
  ['CD1_1', -ARCSEC_PER_PX / 3600],
  ['CD1_2', 0],
  ['CD2_1', 0],
  ['CD2_2', -ARCSEC_PER_PX / 3600],
];
/** Rows are stored from the top, so a field that goes north goes to smaller y. */
const fieldAt = (hourAngleH: number, cards: FitsCard[]): string[] =>
  writeNight(14, (i) => ({
    xPx: 0.1 * i,
    yPx: (-driftAt(hourAngleH) / ARCSEC_PER_PX) * i,
    cards,
  }));

let site: Site;
let east: string[];
let meridian: string[];
beforeAll(async () => {
  site = await Site.open();
  east = fieldAt(-5, north);
  meridian = fieldAt(0.5, north);
});
afterAll(() => site.close());

test.each(Object.entries(fits.sizes))(
  '%s: two fields give both errors of the polar axis; too near they are refused; all stays over a reload',
  async (size, options) => {
    const visit = await (await site.visit(options)).begin();
    const { page } = visit;
    await page.goto(`${visit.url}#night`);
    const sun = page.getByTestId('sun');
    await sun.getByLabel(/Latitude/).fill(String(LATITUDE_DEG));
    await sun.getByLabel(/Longitude/).fill('10');
    await page.keyboard.press('Enter');
    const part = page.getByTestId('two-fields');
    const tell = async (label: RegExp, value: string) => {
      const input = part.getByLabel(label);
      await input.fill(value);
      await input.press('Tab');
    };

    // The first field, in the east: the page waits for the second.
    await page.getByTestId('run-files').setInputFiles(east);
    await part.getByText('Both errors of the axis').click();
    await part.getByText(/Its stars drift by [\d.]+.* a minute to the/).waitFor();
    await tell(/^Hour angle of this field/, '-5');
    await part.getByText('This field stood 5 h east of the meridian.').waitFor();
    await part.getByText(/choose the run that shows it/).waitFor();
    await expect.poll(async () => (await visit.keptRun()).drift?.hourAngleH).toBe(-5);

    // The second field, and the first one out of the list.
    await page.getByRole('button', { name: 'Begin a new run' }).click();
    await page.getByTestId('earlier-run').waitFor();
    await page.getByTestId('run-files').setInputFiles(meridian);
    await part.getByText('Both errors of the axis').click();
    await tell(/^Hour angle of this field/, '13');
    await part.getByText(/between −12 and 12 hours/).waitFor();
    await tell(/^Hour angle of this field/, '0.5');
    await part.locator('summary').filter({ hasText: 'Which one' }).click();
    await part.getByRole('radio', { name: /17 Oct 2026/ }).check();
    await part.getByText('The other field stood 5 h east of the meridian.').waitFor();
    const answer = page.getByTestId('axis-errors');
    await answer.waitFor();
    const [, high, highSigma] = /points ([\d.]+) ± ([\d.]+) arc minutes too high/.exec(
      await answer.innerText(),
    )!;
    const [, west, westSigma] = /points ([\d.]+) ± ([\d.]+) arc minutes too far west/.exec(
      await answer.innerText(),
    )!;
    // Four standard errors.
    expect(Math.abs(Number(high) - AXIS.highArcmin)).toBeLessThan(4 * Number(highSigma));
    expect(Math.abs(Number(west) + AXIS.eastArcmin)).toBeLessThan(4 * Number(westSigma));
    expect(Math.max(Number(highSigma), Number(westSigma))).toBeLessThan(1);
    await answer.getByText(/Lower it by as much with the altitude screw/).waitFor();
    await answer.getByText(/goes east: to the right .* north pole/).waitFor();
    await fits.check(visit, `${screenshots}/polar-${size}`);
    await page.getByTestId('polar-part').screenshot({ path: `${screenshots}/polar-${size}-part.png` });

    // A reload changes nothing of it.
    const before = await answer.innerText();
    await expect.poll(async () => (await visit.keptRuns())[1].polar.other).toBe('run');
    await page.reload();
    await expect.poll(() => answer.innerText()).toBe(before);

    // With both declinations refraction is taken off, and what it is.
    await answer.getByText(/Refraction is in these numbers/).waitFor();
    await tell(/^Declination of this field/, '20');
    await tell(/^Declination of the other field/, '20');
    await answer.getByText(/Refraction is taken off: alone .* too low/).waitFor();

    // Too near in hour angle there is no answer but a sentence, and the way back is open.
    await tell(/^Hour angle of the other field/, '1');
    await page
      .getByTestId('axis-lacks')
      .getByText(/only 0\.5 hours of hour angle apart/)
      .waitFor();
    await tell(/^Hour angle of the other field/, '');
    await answer.waitFor();

    // A drift that was seen some other way.
    await part.locator('summary').filter({ hasText: 'Which one' }).click();
    await part.getByRole('radio', { name: 'A drift that I type' }).check();
    await tell(/^Drift in declination/, String(Math.abs(driftAt(-5))));
    await part
      .getByRole('radio', { name: `The stars drift to the ${driftAt(-5) > 0 ? 'north' : 'south'}` })
      .check({ force: true });
    await tell(/^Hour angle of the other field/, '-5');
    await answer.getByText(/error of the typed drift was not told/).waitFor();
    expect(Number(/points ([\d.]+)/.exec(await answer.innerText())![1])).toBeCloseTo(AXIS.highArcmin, 0);
    expect(visit.errors).toEqual([]);
    await visit.close();
  },
  240_000,
);
