import type { Page } from 'playwright-core';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { screenshots, Site } from './page.ts';
import { fits } from './seen.ts';
import { simulated, written } from './simulated.ts';

let site: Site;
let frames: string[];
/** A sensor that lies 20 µm per mm farther out towards the right, photographed at eight focus positions 15 µm apart. */
const TILT_UM_PER_MM = 20;
beforeAll(async () => {
  site = await Site.open();
  frames = written(
    Array.from({ length: 8 }, (_, i) =>
      simulated(
        {
          optics: { focusUm: 15 * (i - 3.5), tiltUmPerMm: { x: TILT_UM_PER_MM, y: 0 } },
          exposureS: 10,
          seed: 7,
        },
        [
          ['FOCUSPOS', 1000 + 10 * i],
          ['DATE-OBS', `2026-10-17T20:0${i}:00`],
        ],
      ),
    ),
    'tilted',
  );
}, 120_000);
afterAll(() => site.close());

/** A rig with three screws on a circle of 20 mm, 0.5 mm a turn, the first at the top. */
async function tellAdjuster(page: Page): Promise<void> {
  await page.getByRole('button', { name: 'An empty sheet' }).click();
  await page.getByTestId('group-adjuster').locator('> summary').click();
  await page
    .locator('details summary')
    .filter({ hasText: /^Adjuster/ })
    .click();
  await page.getByRole('radio', { name: 'Three points', exact: true }).click();
  for (const [label, value] of [
    ['Screws or shims from the middle', '20'],
    ['Travel per turn of a screw', '0,5'],
    ['First one lies in the picture at', '12'],
  ])
    await page.getByLabel(label).first().fill(value);
  await page.keyboard.press('Tab');
}

test.each(Object.entries(fits.sizes))(
  '%s: a focus run of a leaning sensor says which screw, which way and how far',
  async (size, options) => {
    const visit = await (await site.visit(options)).begin();
    const { page } = visit;
    await page.goto(`${visit.url}#night`);
    await page.getByTestId('run-files').setInputFiles(frames);
    const adjuster = page.getByTestId('adjuster');
    // Without an adjuster: the clamp.
    await adjuster.getByText(/Loosen both clamp screws, push the camera flush/).waitFor();
    const perStep = page.getByRole('textbox', { name: 'One step of the focuser, µm' });
    await perStep.fill('1.5');
    await perStep.press('Tab');
    await page.getByTestId('focus-run').getByText('1.5 µm', { exact: true }).waitFor();
    await adjuster.getByRole('link', { name: 'under Rig' }).click();
    await tellAdjuster(page);
    await page.goto(`${visit.url}#night`);
    const rows = adjuster.locator('tbody tr');
    await rows.first().waitFor();
    const cells = await rows.evaluateAll((all) =>
      all.map((row) => [...row.querySelectorAll('th, td')].map((cell) => (cell as HTMLElement).innerText)),
    );
    expect(cells.map(([, place]) => place)).toEqual(['12 o’clock', '4 o’clock', '8 o’clock']);
    // The plane at 20 mm, at 12, 4 and 8: 0, -20·20·cos 30° = -346 µm, +346 µm (elementary); of 0.5 mm a turn.
    const moveUm = 20 * TILT_UM_PER_MM * Math.cos(Math.PI / 6);
    const told = cells.map(([, , change]) => {
      const left = /leave it as it is[^]*by this run ([−\d.]+) ± ([\d.]+)/.exec(change);
      if (left) return { um: Number(left[1].replace('−', '-')), sigma: Number(left[2]), turn: null };
      const [, side, um, sigma] = /gap (wider|narrower) by ([\d.]+) ± ([\d.]+)/.exec(change)!;
      return { um: (side === 'wider' ? 1 : -1) * Number(um), sigma: Number(sigma), turn: parseFloat(change) };
    });
    [0, -moveUm, moveUm].forEach((expected, k) => {
      expect(Math.abs(told[k].um - expected)).toBeLessThan(4 * told[k].sigma + 1);
      expect(told[k].sigma).toBeLessThan(0.2 * moveUm);
      const { turn } = told[k];
      if (turn !== null) expect(Math.abs(turn - Math.abs(told[k].um) / 500)).toBeLessThan(0.006);
    });
    expect(told.map(({ turn }) => turn === null)).toEqual([true, false, false]);
    await fits.check(visit, `${screenshots}/adjuster-${size}`);
    await adjuster.screenshot({ path: `${screenshots}/adjuster-${size}-part.png` });
    await visit.close();
  },
  120_000,
);
