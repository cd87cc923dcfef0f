import { afterAll, beforeAll, expect, test } from 'vitest';
import { asTiff, drawFrame, even, FWHM_PER_SIGMA } from './frames.ts';
import { screenshots, Site } from './page.ts';

let site: Site;
beforeAll(async () => {
  site = await Site.open();
});
afterAll(() => site.close());

test('what a file cannot say is told once, counts at once, and is remembered for the next file of its kind', async () => {
  const { pixels, widthPx, heightPx, stars } = even();
  const tiff = asTiff(pixels, widthPx, heightPx);
  const visit = await (await site.visit()).begin();
  await visit.measure('first.tif', tiff);
  // Drawn: Gaussians of one width, as sampled.
  const truth = FWHM_PER_SIGMA * stars[0].sigmaPx;
  expect(Math.abs((await visit.number('centre')).value / truth - 1)).toBeLessThan(0.02);

  await visit.tab('File');
  const facts = visit.page.locator('.file dl');
  expect(await facts.innerText()).toMatch(/Colour filters\s+none/);
  const form = visit.page.getByTestId('tell-file');
  const again = form.getByRole('button', { name: 'Measure again with this' });
  expect(await again.isDisabled()).toBe(true);
  await form.getByLabel('Exposure, s').fill('12');
  await form.getByText('Colour filters over the pixels').first().click();
  await form.getByRole('radio', { name: /^GRBG/ }).check();
  await again.click();
  await facts.getByText('GRBG').waitFor();
  expect(await facts.innerText()).toMatch(/Exposure\s+12/);

  await visit.page.reload();
  await visit.page.getByTestId('sentence').waitFor();
  await visit.measure('second.tif', tiff);
  await visit.tab('File');
  expect(await facts.innerText()).toMatch(/GRBG/);
  // A file of another kind is not touched.
  await visit.measure('plain.fits', even().bytes);
  expect(await facts.innerText()).toMatch(/Colour filters\s+none/);
  expect(visit.errors).toEqual([]);
  await visit.close();
});

test('where the browser keeps nothing the page says so and works on', async () => {
  const visit = await site.visit();
  await visit.page.addInitScript(() => {
    Object.defineProperty(window, 'indexedDB', {
      get: () => ({
        open: () => {
          throw new DOMException('not here', 'SecurityError');
        },
      }),
    });
  });
  await visit.begin();
  expect(await visit.page.getByTestId('keep-trouble').innerText()).toContain('keeps nothing');
  await visit.close();
});

test('where there is no room left to keep anything the page says so and works on', async () => {
  const visit = await (await site.visit()).begin();
  // As the browser answers when the disk is full: at once, or when the change is to be carried out.
  await visit.page.evaluate(() => {
    IDBObjectStore.prototype.put = IDBObjectStore.prototype.add = () => {
      throw new DOMException('no room', 'QuotaExceededError');
    };
  });
  await visit.light('Light page');
  const trouble = visit.page.getByTestId('keep-trouble');
  expect(await trouble.innerText()).toMatch(/no room left.*Everything works/);
  await visit.measure('even.fits', even().bytes);
  expect(await visit.page.getByTestId('fault').count()).toBe(0);
  await visit.close();
});

test('where a header is not clear, the other value that it may mean is taken with one press', async () => {
  const visit = await (await site.visit()).begin();
  const frame = drawFrame(
    () => 1.6,
    [
      ['EXPTIME', 5],
      ['EXPOSURE', 5000],
      ['XPIXSZ', 3.8],
      ['XBINNING', 2],
      ['FOCALLEN', 600],
      ['IMAGETYP', 'Light'],
    ],
  );
  await visit.measure('unclear.fits', frame.bytes);
  await visit.tab('File');
  const facts = visit.page.locator('.file dl');
  const doubts = visit.page.getByTestId('doubts');
  expect(await facts.innerText()).toMatch(/Exposure\s+5\.0 s/);
  // 206.264806 * 3.8 / 600 = 1.306; with the bare pixel binned two by two, twice that.
  expect(await facts.innerText()).toMatch(/1\.306 arcsec per pixel/);
  await visit.page.screenshot({ path: `${screenshots}/file-unclear.png`, fullPage: true });
  await doubts.getByRole('button', { name: 'Use 7.6 µm instead' }).click();
  expect(await facts.innerText()).toMatch(/2\.613 arcsec per pixel/);
  await doubts.getByRole('button', { name: 'Use 5000 s instead' }).click();
  await facts.getByText(/^5000\.0 s$/).waitFor();
  await doubts.getByRole('button', { name: 'Back to 3.8 µm' }).click();
  expect(await facts.innerText()).toMatch(/1\.306 arcsec per pixel/);
  expect(visit.errors).toEqual([]);
  await visit.close();
});
