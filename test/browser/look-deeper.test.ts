import { afterAll, beforeAll, expect, test } from 'vitest';
import { writeNight } from './night-frames.ts';
import { screenshots, Site } from './page.ts';
import { fits } from './seen.ts';

let site: Site;
let frames: string[];
beforeAll(async () => {
  site = await Site.open();
  // Stars twice as long as wide, all alike: nothing but movement does that (elementary).
  frames = writeNight(2, (i) => ({ xPx: 0.3 * i, elongation: 2 }));
});
afterAll(() => site.close());

test.each(Object.entries(fits.sizes))(
  '%s: the switch that asks every frame why its stars are not round, its cost said, and kept over a reload',
  async (size, options) => {
    const visit = await (await site.visit(options)).begin();
    const { page } = visit;
    await page.goto(`${visit.url}#night`);
    const row = page.getByTestId('look-deeper');
    const deeper = row.getByRole('switch', { name: 'Say of every frame why its stars are not round' });
    await row.getByText(/Costs some seconds for each frame/).waitFor();

    // Off, frames are measured and no more.
    await page.getByTestId('run-files').setInputFiles(frames.slice(0, 1));
    await page.getByTestId('timeline').waitFor();
    expect(await page.getByTestId('run-causes').count()).toBe(0);

    await deeper.click();
    expect(await deeper.getAttribute('aria-checked')).toBe('true');
    await row.getByText(/Each frame from now on takes some seconds more/).waitFor();
    await page.getByTestId('run-files').setInputFiles(frames);
    const causes = page.getByTestId('run-causes');
    await causes.getByText(/by 1 frame looked into: movement in 1\./).waitFor({ timeout: 120_000 });
    await page.getByTestId('timeline').focus();
    await page.keyboard.press('End');
    await page
      .getByTestId('frame-verdict')
      .getByText(/% sure/)
      .waitFor();
    await fits.check(visit, `${screenshots}/look-deeper-${size}`);

    await expect.poll(() => visit.settingNames()).toContain('run.deeper');
    await page.reload();
    await causes.waitFor();
    expect(await deeper.getAttribute('aria-checked')).toBe('true');
    expect(visit.errors).toEqual([]);
    await visit.close();
  },
  240_000,
);
