import { afterAll, beforeAll, expect, test } from 'vitest';
import { widening } from './frames.ts';
import { PlainServer } from './plain-server.ts';
import { Site, Visit } from './page.ts';

let site: Site;
beforeAll(async () => {
  site = await Site.open();
});
afterAll(() => site.close());

const said = (visit: Visit, words: RegExp) => visit.page.getByTestId('offline').getByText(words).waitFor();

test('after one visit the page opens and measures with its server switched off, bound by the same policy', async () => {
  const server = new PlainServer(true);
  const port = await server.start();
  const visit = await (await site.visit({ serviceWorkers: 'allow' }, `http://127.0.0.1:${port}/`)).begin();
  await said(visit, /opens without its server/);
  await server.stop();

  await visit.page.reload();
  await visit.page.getByTestId('sentence').waitFor();
  // A demo frame that was never opened before, and every room that is loaded only when it is asked for.
  await visit.page.getByRole('button', { name: 'Demo frames' }).click();
  await visit.page.locator('#demos').getByRole('button').nth(3).click();
  await visit.page.locator('#demos').waitFor({ state: 'detached' });
  await visit.page.getByRole('progressbar', { name: 'measurement' }).waitFor({ state: 'detached' });
  await visit.measure('own.fits', widening().bytes);
  expect((await visit.number('corners')).value).toBeGreaterThan((await visit.number('centre')).value);
  await visit.page.getByRole('link', { name: 'Rig' }).click();
  await visit.page.getByRole('link', { name: 'Back to the frame' }).waitFor();
  await said(visit, /opens without its server/);
  // The copy was made from the page's own server alone.
  expect(
    new Set(visit.requests.filter((asked) => /^http/.test(asked)).map((asked) => new URL(asked).host)),
  ).toEqual(new Set([`127.0.0.1:${port}`]));
  expect(visit.errors.filter((error) => !/offline\.js/.test(error))).toEqual([]);
  const codeFromText = await visit.page.evaluate(
    () =>
      new Promise<string>((resolve) =>
        setTimeout(() => {
          try {
            new Function('return 1')();
            resolve('ran');
          } catch (error) {
            resolve((error as Error).name);
          }
        }),
      ),
  );
  expect(codeFromText).toBe('EvalError');
  await visit.close();
});

test('a newer version is told, waits while a window is open, and is there at the next start', async () => {
  const server = new PlainServer(false);
  const url = `http://127.0.0.1:${await server.start()}/`;
  const visit = await (await site.visit({ serviceWorkers: 'allow' }, url)).begin();
  await said(visit, /opens without its server/);
  const versions = (page = visit.page) =>
    page.evaluate(async () => (await caches.keys()).map((name) => name.split(' ').pop()));
  const [built] = await versions();

  server.version = 'later';
  await visit.page.reload();
  await said(visit, /newer version of the page is here/);
  expect(new Set(await versions())).toEqual(new Set([built, 'later']));

  // Another window is open: the older version stays whole for both.
  const other = await visit.page.context().newPage();
  await other.goto(url);
  await other
    .getByTestId('offline')
    .getByText(/newer version of the page is here/)
    .waitFor();
  expect(new Set(await versions())).toEqual(new Set([built, 'later']));
  await other.close();

  await visit.page.reload();
  await said(visit, /opens without its server/);
  expect(await versions()).toEqual(['later']);
  expect(visit.errors).toEqual([]);
  await visit.close();
  await server.stop();
});

test('over plain http from another machine the page works, and says what is missing', async () => {
  const server = new PlainServer(true);
  const port = await server.start();
  const visit = await (
    await site.visit({ serviceWorkers: 'allow' }, `http://observatory.lan:${port}/`)
  ).begin();
  expect(await visit.page.evaluate(() => isSecureContext)).toBe(false);
  await said(visit, /plain http from another machine/);
  await visit.measure('own.fits', widening().bytes);
  expect(visit.errors).toEqual([]);
  await visit.close();
  await server.stop();
});

test('it can be installed: a manifest whose icons are there, of the sizes it says', async () => {
  const visit = await (await site.visit()).begin();
  const told = await visit.page.evaluate(async () => {
    const link = document.querySelector<HTMLLinkElement>('link[rel="manifest"]')!;
    const manifest = (await (await fetch(link.href)).json()) as {
      name: string;
      start_url: string;
      display: string;
      icons: { src: string; sizes: string; type: string }[];
    };
    const icons = await Promise.all(
      manifest.icons.map(async ({ src, sizes, type }) => {
        const blob = await (await fetch(new URL(src, link.href))).blob();
        if (type !== 'image/png') return { same: blob.type === type };
        const { width, height } = await createImageBitmap(blob);
        return { same: `${width}x${height}` === sizes };
      }),
    );
    return { ...manifest, icons };
  });
  expect(told).toMatchObject({ name: 'Cornerwise', start_url: './', display: 'standalone' });
  expect(told.icons.length).toBeGreaterThan(2);
  expect(told.icons.every(({ same }) => same)).toBe(true);
  await visit.close();
});
