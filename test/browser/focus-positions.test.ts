import { afterAll, beforeAll, expect, test } from 'vitest';
import { writeNight } from './night-frames.ts';
import { screenshots, Site } from './page.ts';
import { fits } from './seen.ts';

let site: Site;
beforeAll(async () => {
  site = await Site.open();
});
afterAll(() => site.close());

/**
 * Nine frames a quarter turn apart that say nothing of it: smallest in the sixth, at 1.25 turns, by construction. A cone
 * of f/4 is a disc of z / 4 across, a quarter of that in rms along each axis: 4 px of 3.8 µm are 240 µm a turn.
 */
const silent = (i: number) => ({
  sigmaPx: Math.hypot(1.4, 4 * (0.25 * i - 1.25)),
  light: 3,
  cards: [
    ['XPIXSZ', 3.8] as [string, number],
    ['FOCALLEN', 600] as [string, number],
    ['APTDIA', 150] as [string, number],
  ],
});

test.each(Object.entries(fits.sizes))(
  '%s: positions typed by hand make a focus run, and stay over a reload',
  async (size, options) => {
    const visit = await (await site.visit(options)).begin();
    const { page } = visit;
    await page.goto(`${visit.url}#night`);
    await page.getByTestId('run-files').setInputFiles(writeNight(9, silent));
    const positions = page.getByTestId('focus-positions');
    await positions.getByText('Focus positions by hand').click();
    await positions.getByText('0 frames of 9 have a position').waitFor();
    expect(await page.getByTestId('focus-run').count()).toBe(0);
    await positions.getByRole('radio', { name: /turns of a knob/ }).check({ force: true });
    await positions.getByLabel('Each next by, turns').fill('0,25');
    await positions.getByLabel('Each next by, turns').press('Tab');
    await positions.getByRole('button', { name: 'Fill in all' }).click();
    const focus = page.getByTestId('focus-run');
    const best = async () => {
      const row = focus.locator('dl > div').filter({ hasText: 'Best position in the middle' });
      return parseFloat(await row.locator('dd').innerText());
    };
    await focus.waitFor();
    expect(Math.abs((await best()) - 1.25)).toBeLessThan(0.05);

    // The frames' own words are one by one: all of them moved by a turn, the best moves along.
    const fields = positions.getByLabel(/^Focus position of/);
    expect(await fields.nth(3).inputValue()).toBe('0.75');
    await fields.nth(3).fill('three');
    await fields.nth(3).press('Tab');
    await positions.getByText('Please give a number').waitFor();
    await fields.nth(3).fill('0,75');
    await fields.nth(3).press('Tab');
    const perTurn = focus.getByRole('textbox', { name: 'One turn of the knob, µm' });
    await perTurn.fill('240');
    await perTurn.press('Tab');
    await focus.getByText('240').first().waitFor();
    const kept = async () => Object.values((await visit.keptRun()).positions).sort((p, q) => p - q);
    await expect.poll(kept).toEqual([0, 0.25, 0.5, 0.75, 1, 1.25, 1.5, 1.75, 2]);
    await page.reload();
    await focus.waitFor();
    expect(Math.abs((await best()) - 1.25)).toBeLessThan(0.05);
    expect(await perTurn.inputValue()).toBe('240');
    await positions.getByText('Focus positions by hand').click();
    expect(await fields.nth(8).inputValue()).toBe('2');
    await fits.check(visit, `${screenshots}/focus-positions-${size}`);
    await positions.getByRole('button', { name: 'Take all typed positions back' }).click();
    await focus.waitFor({ state: 'detached' });
    await visit.close();
  },
  120_000,
);
