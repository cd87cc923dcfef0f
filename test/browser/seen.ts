import { expect } from 'vitest';
import { brightestOf, type Visit } from './page.ts';

/** Three screens: a phone, a tablet, a desk. */
const sizes = {
  phone: { viewport: { width: 390, height: 844 }, hasTouch: true, isMobile: true },
  tablet: { viewport: { width: 820, height: 1180 }, hasTouch: true },
  desktop: { viewport: { width: 1280, height: 900 } },
};

/**
 * The page as it stands, on one screen: large targets, nothing beyond the screen, nothing serious for axe in any light, and
 * red is red. Leaves two pictures behind, `${path}.png` and `${path}-red.png`.
 */
async function check(visit: Visit, path: string): Promise<void> {
  const { page } = visit;
  await visit.light('Dark page');
  await page.screenshot({ path: `${path}.png`, fullPage: true });
  for (const light of ['Dark page', 'Light page', 'Red night light']) {
    await visit.light(light);
    expect({ light, faults: await visit.seriousFaults() }).toEqual({ light, faults: [] });
  }
  const { red, green, blue } = await brightestOf(
    page,
    await page.screenshot({ path: `${path}-red.png`, fullPage: true }),
  );
  expect([green, blue]).toEqual([0, 0]);
  expect(red).toBeGreaterThan(200);
  expect(await visit.beyond()).toBe(0);
  expect(await visit.smallTargets()).toEqual([]);
  expect(visit.errors).toEqual([]);
}

export const fits = { sizes, check };
