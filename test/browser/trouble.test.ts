import { afterAll, beforeAll, expect, test } from 'vitest';
import { even, widening } from './frames.ts';
import { brightestOf, Site, type Visit } from './page.ts';

let site: Site;
beforeAll(async () => {
  site = await Site.open();
});
afterAll(() => site.close());

const faultText = (visit: Visit) => visit.page.getByTestId('fault').innerText();

test('a file that is no frame gets a sentence, and the earlier result stays with its pixels', async () => {
  const visit = await (await site.visit()).begin();
  await visit.measure('even.fits', even().bytes);
  const before = await visit.number('centre');
  await visit.drop('letter.txt', new TextEncoder().encode('Dear telescope, '.repeat(400)));
  const fault = await faultText(visit);
  expect(fault).toContain('letter.txt');
  expect(fault).toMatch(/[A-Z][^.]+\./);
  expect(fault).toContain('still the frame before');
  expect(await visit.page.getByRole('alert').innerText()).toContain('letter.txt');
  expect(await visit.fileName()).toBe('even.fits');
  expect(await visit.number('centre')).toEqual(before);
  await expectPixels(visit);
  await visit.page.getByTestId('fault').getByRole('button').click();
  expect(await visit.page.getByTestId('fault').count()).toBe(0);
  expect(visit.errors).toEqual([]);
  await visit.close();
});

test('a truncated frame is refused with a sentence', async () => {
  const visit = await (await site.visit()).begin();
  const { bytes } = even();
  await visit.drop('half.fits', bytes.slice(0, bytes.length / 2));
  expect(await faultText(visit)).toContain('half.fits was not measured');
  await visit.close();
});

test('of two frames dropped one upon the other the later one is shown, and only that', async () => {
  const visit = await (await site.visit()).begin();
  const [first, second] = [even().bytes, widening().bytes];
  await visit.stallReading();
  await visit.drop('first.fits', first);
  await visit.page.getByText('first.fits').waitFor();
  await visit.measure('second.fits', second);
  expect(await visit.page.getByTestId('fault').count()).toBe(0);
  expect(await visit.page.getByRole('progressbar', { name: 'measurement' }).count()).toBe(0);
  await expectPixels(visit);
  await visit.close();
});

test('cancelling gives up the run, keeps the earlier result and has its pixels again', async () => {
  const visit = await (await site.visit()).begin();
  await visit.measure('even.fits', even().bytes);
  await visit.stallReading();
  await visit.drop('slow.fits', widening().bytes);
  await visit.page.getByRole('button', { name: 'Cancel' }).click();
  await visit.page.getByRole('button', { name: 'Cancel' }).waitFor({ state: 'detached' });
  expect(await visit.fileName()).toBe('even.fits');
  expect(await visit.page.getByTestId('fault').count()).toBe(0);
  await expectPixels(visit);
  await visit.measure('next.fits', widening().bytes);
  await visit.close();
});

test('a worker that dies in the middle of a run is replaced, and the frame is measured after all', async () => {
  const visit = await (await site.visit()).begin();
  await visit.measure('even.fits', even().bytes);
  await visit.stallReading();
  await visit.drop('doomed.fits', widening().bytes);
  await visit.page.getByText('doomed.fits').waitFor();
  await visit.frameWorker().evaluate(() => {
    setTimeout(() => {
      throw new Error('memory gave out');
    });
  });
  await visit.page.getByTestId('file-name').getByText('doomed.fits', { exact: true }).waitFor();
  expect(await visit.page.getByTestId('fault').count()).toBe(0);
  await expectPixels(visit);
  await visit.close();
});

test('where the new worker dies too it is told in a sentence, and the next frame is measured', async () => {
  const visit = await (await site.visit()).begin();
  await visit.measure('even.fits', even().bytes);
  await visit.stallReading();
  await visit.drop('doomed.fits', widening().bytes);
  await visit.page.getByText('doomed.fits').waitFor();
  const body = 'setTimeout(() => { throw new Error("memory gave out"); });';
  await visit.page.route(/frame\.worker/, (route) => route.fulfill({ contentType: 'text/javascript', body }));
  await visit.frameWorker().evaluate(
    (code) =>
      void setTimeout(() => {
        throw new Error(code);
      }),
    'memory gave out',
  );
  const fault = await faultText(visit);
  expect(fault).toContain('doomed.fits was not measured');
  expect(fault).toContain('memory gave out');
  expect(await visit.fileName()).toBe('even.fits');
  await visit.page.unroute(/frame\.worker/);
  await visit.measure('doomed.fits', widening().bytes);
  expect(await visit.page.getByTestId('fault').count()).toBe(0);
  await expectPixels(visit);
  await visit.close();
});

test('without WebGL2 the frame is drawn all the same', async () => {
  const visit = await site.visit();
  await visit.page.addInitScript(() => {
    const original = HTMLCanvasElement.prototype.getContext;
    HTMLCanvasElement.prototype.getContext = function (
      this: HTMLCanvasElement,
      kind: string,
      ...rest: unknown[]
    ) {
      return kind === 'webgl2' ? null : original.apply(this, [kind, ...rest] as never);
    } as typeof original;
  });
  await visit.begin();
  await expectPixels(visit);
  expect(visit.errors).toEqual([]);
  await visit.close();
});

/** The frame viewer shows stars at full size, which it can only with pixels from the worker. */
async function expectPixels(visit: Visit): Promise<void> {
  const view = visit.page.getByRole('application');
  await view.focus();
  await visit.page.keyboard.press('n');
  const card = visit.page.getByTestId('star-card');
  await card.getByRole('img', { name: /star's pixels/ }).waitFor();
  await expect
    .poll(async () => (await brightestOf(visit.page, await view.screenshot())).lit, { timeout: 10_000 })
    .toBeGreaterThan(200);
  await visit.page.keyboard.press('Escape');
  await card.waitFor({ state: 'detached' });
}
