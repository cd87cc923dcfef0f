import { mkdirSync, mkdtempSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { drawFrame } from './frames.ts';
import { screenshots, Site, type Visit } from './page.ts';

let site: Site;
const folder = mkdtempSync(join(tmpdir(), 'run-'));
/** A run of small frames on disk: real files keep their date, by which the page knows them again. */
function writeRun(names: string[], sigmaPx: (i: number) => number = () => 1.6): string[] {
  return names.map((name, i) => {
    const start = new Date(Date.UTC(2026, 9, 17, 20, 0, 30 * i)).toISOString().slice(0, 19);
    const { bytes } = drawFrame(
      () => sigmaPx(i),
      [
        ['DATE-OBS', start],
        ['EXPTIME', 28],
      ],
      [450, 300],
    );
    const path = join(folder, name);
    writeFileSync(path, bytes);
    return path;
  });
}
const number = (visit: Visit) => visit.page.getByTestId('run-sentence');

beforeAll(async () => {
  mkdirSync(screenshots, { recursive: true });
  site = await Site.open();
});
afterAll(() => site.close());

test('many files dropped at once become a run; one that is no frame does not stop it; a frame opens', async () => {
  const visit = await (await site.visit()).begin();
  const files = Array.from({ length: 5 }, (_, i) => ({
    name: `drop-${i}.fits`,
    base64: Buffer.from(drawFrame(() => 1.5 + 0.02 * i, [], [450, 300]).bytes).toString('base64'),
  }));
  files.splice(2, 0, { name: 'letter.fits', base64: Buffer.from('A'.repeat(5000)).toString('base64') });
  await visit.page.evaluate((list) => {
    const dataTransfer = new DataTransfer();
    for (const { name, base64 } of list) {
      const bytes = Uint8Array.from(atob(base64), (c) => c.charCodeAt(0));
      dataTransfer.items.add(new File([bytes], name));
    }
    for (const type of ['dragenter', 'dragover', 'drop'])
      document.body.dispatchEvent(new DragEvent(type, { dataTransfer, bubbles: true, cancelable: true }));
  }, files);
  await number(visit).getByText('6 of 6 frames').waitFor();
  const list = await visit.page.getByTestId('night').innerText();
  expect(list).toContain('letter.fits');
  await visit.page.getByRole('button', { name: 'drop-3.fits' }).click();
  await visit.page.getByTestId('file-name').getByText('drop-3.fits').waitFor();
  expect(visit.errors).toEqual([]);
  await visit.close();
});

test('a reload in the middle of a run loses no measured frame, and the rest is taken up when the files come again', async () => {
  const paths = writeRun(Array.from({ length: 12 }, (_, i) => `night-${String(i).padStart(2, '0')}.fits`));
  const visit = await (await site.visit()).begin();
  await visit.page.goto(`${visit.url}#night`);
  await visit.page.getByTestId('run-files').setInputFiles(paths.slice(0, 6));
  await number(visit).getByText('6 of 6 frames').waitFor();
  // Paused, so that the rest is waiting when the page goes away.
  await visit.page.evaluate(() => {
    new MutationObserver(() =>
      [...document.querySelectorAll('button')].find((button) => button.textContent === 'Pause')?.click(),
    ).observe(document.body, { childList: true, subtree: true });
  });
  await visit.page.getByTestId('run-files').setInputFiles(paths);
  await visit.page.getByRole('button', { name: 'Go on' }).waitFor();
  await visit.page.waitForTimeout(2500);
  await visit.page.reload();
  await visit.page.getByTestId('run-lacking').waitFor();
  expect(await number(visit).innerText()).toMatch(/of 12 frames/);
  const before = Number((await number(visit).innerText()).split(' ')[0]);
  expect(before).toBeGreaterThanOrEqual(6);
  expect(before).toBeLessThan(12);
  await visit.page.getByTestId('run-files').setInputFiles(paths);
  await number(visit).getByText('12 of 12 frames').waitFor();
  expect(await visit.recordsIn('runFrames')).toBe(12);
  expect(visit.errors).toEqual([]);
  await visit.close();
});
