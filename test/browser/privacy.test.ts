import { readdirSync, readFileSync } from 'node:fs';
import { gzipSync } from 'node:zlib';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { drawFrame, widening } from './frames.ts';
import { builtPage, Site } from './page.ts';

let site: Site;
beforeAll(async () => {
  site = await Site.open();
});
afterAll(() => site.close());

test('nothing is asked for beyond the own server, and nothing is sent to it', async () => {
  const visit = await site.visit();
  const methods: string[] = [];
  visit.page.context().on('request', (request) => methods.push(request.method()));
  await visit.begin();
  await visit.measure('widening.fits', widening().bytes);
  for (const name of ['Causes', 'Maps', 'Regions', 'File', 'Report', 'Frame']) await visit.tab(name);
  const origins = visit.requests
    .filter((url) => !/^(blob|data):/.test(url))
    .map((url) => new URL(url).origin);
  expect(new Set(origins)).toEqual(new Set([new URL(visit.url).origin]));
  expect(new Set(methods)).toEqual(new Set(['GET']));
  expect(visit.requests.some((url) => url.includes('widening'))).toBe(false);
  await visit.close();
});

test('a dropped frame is measured without a network', async () => {
  const visit = await (await site.visit()).begin();
  await visit.page.context().setOffline(true);
  await visit.measure('widening.fits', widening().bytes);
  expect(visit.errors).toEqual([]);
  await visit.close();
});

test('the policy binds the page and its worker: no foreign server, no code from text', async () => {
  const visit = await site.visit();
  const response = await visit.page.goto(visit.url);
  expect(response!.headers()['content-security-policy']).toContain("script-src 'self' 'wasm-unsafe-eval'");
  await visit.page.getByTestId('sentence').waitFor();
  // Tried from a timer: what a debugger evaluates directly is let pass by the browser.
  const attempt = () =>
    new Promise<string[]>((resolve) => {
      setTimeout(async () => {
        const outcomes: string[] = [];
        try {
          new Function('return 1')();
          outcomes.push('code from text ran');
        } catch (error) {
          outcomes.push((error as Error).name);
        }
        await fetch('https://192.0.2.1/').then(
          () => outcomes.push('fetched'),
          (error: Error) => outcomes.push(error.name),
        );
        resolve(outcomes);
      });
    });
  const refusals = await visit.page.evaluate(() => {
    const seen: string[] = [];
    addEventListener('securitypolicyviolation', (event) => seen.push(event.effectiveDirective));
    (globalThis as unknown as { seen: string[] }).seen = seen;
    return seen;
  });
  expect(refusals).toEqual([]);
  expect(await visit.page.evaluate(attempt)).toEqual(['EvalError', 'TypeError']);
  expect(await visit.page.evaluate(() => (globalThis as unknown as { seen: string[] }).seen)).toContain(
    'connect-src',
  );
  expect(await visit.frameWorker().evaluate(attempt)).toEqual(['EvalError', 'TypeError']);
  await visit.close();
});

test('what a file says of itself is text on the page, never a part of it', async () => {
  const attack = '<img src=x onerror=hacked=1>dark';
  const visit = await (await site.visit()).begin();
  const frame = drawFrame(
    () => 1.5,
    [
      ['IMAGETYP', attack],
      ['BAYERPAT', '<b>RGGB</b>'],
      ['EXPTIME', -5],
    ],
  );
  await visit.measure('<i>name</i>.fits', frame.bytes);
  expect(await visit.page.locator('.answer').innerText()).toContain(attack);
  for (const name of ['File', 'Regions', 'Causes', 'Frame']) await visit.tab(name);
  await visit.drop('<img src=x onerror=hacked=1>.fits', new TextEncoder().encode('SIMPLE  =  <b>no</b>'));
  expect(await visit.page.getByTestId('fault').innerText()).toContain('<img src=x onerror=hacked=1>.fits');
  expect(await visit.page.locator('img, .answer b, .answer i').count()).toBe(0);
  expect(await visit.page.evaluate(() => 'hacked' in window)).toBe(false);
  expect(visit.errors).toEqual([]);
  await visit.close();
});

test("the page's own script stays under 350 kB gzipped", () => {
  const html = readFileSync(`${builtPage}/index.html`, 'utf8');
  const scripts = [...html.matchAll(/(?:src|href)="\.\/([^"]+\.js)"/g)].map((match) => match[1]);
  expect(scripts.length).toBeGreaterThan(0);
  const bytes = scripts.reduce((sum, file) => sum + gzipSync(readFileSync(`${builtPage}/${file}`)).length, 0);
  expect(bytes).toBeLessThan(350_000);
  expect(readdirSync(`${builtPage}/assets`).some((file) => file.startsWith('frame.worker'))).toBe(true);
});
