import { afterAll, beforeAll, expect, test } from 'vitest';
import { Site } from './page.ts';

let site: Site;
beforeAll(async () => {
  site = await Site.open();
});
afterAll(() => site.close());

test('from the demo frames to a star, without a mouse', async () => {
  const visit = await (await site.visit()).begin();
  const { page } = visit;
  const focused = () => page.evaluate(() => document.activeElement?.textContent?.trim() ?? '');
  const press = (key: string) => page.keyboard.press(key);
  const first = await visit.fileName();

  await tabUntil('Demo frames');
  await press('Enter');
  await tabUntil('f/6');
  await press('Enter');
  await expect.poll(visit.fileName).not.toBe(first);

  await tabUntil('Frame');
  await press('ArrowRight');
  expect(await focused()).toBe('Causes');
  await press('ArrowRight');
  expect(await focused()).toBe('Maps');
  await page.getByRole('heading', { name: 'How wide: measured' }).waitFor();
  await press('End');
  expect(await focused()).toBe('Report');
  await press('ArrowRight');
  expect(await focused()).toBe('Frame');

  for (let i = 0; i < 12 && (await page.evaluate(() => document.activeElement?.role)) !== 'application'; i++)
    await press('Tab');
  const card = page.getByTestId('star-card');
  await press('n');
  await card.getByText('Star 1 ').waitFor();
  await press('n');
  await card.getByText('Star 2 ').waitFor();
  await press('p');
  await card.getByText('Star 1 ').waitFor();
  for (const key of ['+', '-', 'ArrowLeft', 'ArrowUp', '1', '0']) await press(key);
  await press('Escape');
  await card.waitFor({ state: 'detached' });

  await tabUntilRole('slider');
  const at = () => page.getByRole('slider', { name: 'Black point' }).getAttribute('aria-valuenow');
  const before = Number(await at());
  await press('ArrowRight');
  await press('ArrowRight');
  expect(Number(await at())).toBeGreaterThan(before);
  expect(visit.errors).toEqual([]);
  await visit.close();

  async function tabUntil(text: string): Promise<void> {
    for (let i = 0; i < 40; i++) {
      await press('Tab');
      if ((await focused()).includes(text)) return;
    }
    throw new Error(`No way by the keyboard to "${text}".`);
  }
  async function tabUntilRole(role: string): Promise<void> {
    for (let i = 0; i < 40; i++) {
      await press('Tab');
      if ((await page.evaluate(() => document.activeElement?.getAttribute('role'))) === role) return;
    }
    throw new Error(`No way by the keyboard to a ${role}.`);
  }
});

test('whoever wants less motion gets none', async () => {
  const visit = await (await site.visit({ reducedMotion: 'reduce' })).begin();
  const longest = await visit.page.evaluate(() =>
    Math.max(
      ...[...document.querySelectorAll('*')].map((element) => {
        const style = getComputedStyle(element);
        return Math.max(parseFloat(style.animationDuration), parseFloat(style.transitionDuration));
      }),
    ),
  );
  expect(longest).toBeLessThan(0.001);
  await visit.close();
});
