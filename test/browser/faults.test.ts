// What goes wrong around a run: workers that end, memory that gives out, files that change under the reader's hands.
import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { even, widening } from './frames.ts';
import { Site, type Visit } from './page.ts';

let site: Site;
let folder: string;
beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'cornerwise-'));
  site = await Site.open();
});
afterAll(async () => {
  await site.close();
  rmSync(folder, { recursive: true });
});

const faultText = (visit: Visit) => visit.page.getByTestId('fault').innerText();

/** The earlier result is still there, and the next frame is measured. */
async function expectGoesOn(visit: Visit, earlier: string): Promise<void> {
  expect(await visit.fileName()).toBe(earlier);
  await visit.measure('after.fits', even().bytes);
  expect(await visit.page.getByTestId('fault').count()).toBe(0);
}

/** From now on the worker waits before it reads a file, until it is let go. */
async function holdReading(visit: Visit): Promise<() => Promise<void>> {
  const worker = visit.frameWorker();
  await worker.evaluate(() => {
    const { slice, stream, arrayBuffer } = Blob.prototype;
    const hold = new Promise<void>((resolve) => Object.assign(globalThis, { letGo: resolve }));
    Blob.prototype.arrayBuffer = async function (this: Blob) {
      await hold;
      return arrayBuffer.call(this);
    };
    Blob.prototype.stream = function (this: Blob) {
      const reader = hold.then(() => stream.call(this).getReader());
      return new ReadableStream({
        async pull(controller) {
          try {
            const { done, value } = await (await reader).read();
            if (done) controller.close();
            else controller.enqueue(value);
          } catch (error) {
            controller.error(error);
          }
        },
      });
    } as typeof stream;
    Blob.prototype.slice = slice;
  });
  return () => worker.evaluate(() => (globalThis as unknown as { letGo: () => void }).letGo());
}

test('a worker that the browser ends without a word in mid-run is noticed, and the frame is measured by a new one', async () => {
  const visit = await (await site.visit()).begin();
  await visit.measure('even.fits', even().bytes);
  await visit.stallReading();
  await visit.drop('doomed.fits', widening().bytes);
  await visit.page.getByText('doomed.fits').waitFor();
  await visit.frameWorker().evaluate(() => self.close());
  await visit.page.getByTestId('file-name').getByText('doomed.fits', { exact: true }).waitFor();
  expect(await visit.page.getByTestId('fault').count()).toBe(0);
  await visit.close();
});

test('memory that gives out in the middle of a run is told as that', async () => {
  const visit = await (await site.visit()).begin();
  await visit.frameWorker().evaluate(() => {
    WebAssembly.Memory.prototype.grow = () => {
      throw new RangeError('WebAssembly.Memory.grow(): Unable to grow instance memory');
    };
  });
  // 12 megapixels are more than the demo frame took.
  const [widthPx, heightPx] = [4000, 3000];
  const { writeFits16 } = await import('../../workers/simulate/fits.ts');
  const frame = writeFits16(new Uint16Array(widthPx * heightPx).fill(1000), widthPx, heightPx);
  const path = join(folder, 'large.fits');
  writeFileSync(path, frame);
  await visit.page.getByTestId('picker').setInputFiles(path);
  const fault = await faultText(visit);
  expect(fault).toContain('large.fits needs more memory than there is');
  expect(fault).toMatch(/crop/);
  await visit.measure('after.fits', even().bytes);
  await visit.close();
});

test('of ten frames dropped in a row the last one is shown, and no fault', async () => {
  const visit = await (await site.visit()).begin();
  const { bytes } = even();
  const base64 = Buffer.from(bytes).toString('base64');
  await visit.page.evaluate((text) => {
    const content = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
    for (let i = 1; i <= 10; i++) {
      const dataTransfer = new DataTransfer();
      dataTransfer.items.add(new File([content], `frame${i}.fits`));
      document.body.dispatchEvent(new DragEvent('drop', { dataTransfer, bubbles: true, cancelable: true }));
    }
  }, base64);
  await visit.page.getByTestId('file-name').getByText('frame10.fits', { exact: true }).waitFor();
  expect(await visit.page.getByTestId('fault').count()).toBe(0);
  expect(await visit.page.getByRole('progressbar', { name: 'measurement' }).count()).toBe(0);
  // One worker is left to hold the pixels.
  expect(visit.page.workers().filter((worker) => worker.url().includes('frame.worker'))).toHaveLength(1);
  expect(visit.errors).toEqual([]);
  await visit.close();
});

test('a page that was put to sleep in mid-run goes on when it wakes', async () => {
  const visit = await (await site.visit()).begin();
  const letGo = await holdReading(visit);
  await visit.drop('slept.fits', even().bytes);
  await visit.page.getByText('slept.fits').waitFor();
  const devtools = await visit.page.context().newCDPSession(visit.page);
  await devtools.send('Page.setWebLifecycleState', { state: 'frozen' });
  await letGo();
  await devtools.send('Page.setWebLifecycleState', { state: 'active' });
  await visit.page.getByTestId('file-name').getByText('slept.fits', { exact: true }).waitFor();
  expect(visit.errors).toEqual([]);
  await visit.close();
});

test.each<[string, (path: string) => void]>([
  ['disappears', (path) => rmSync(path)],
  ['changes', (path) => writeFileSync(path, widening().bytes.subarray(0, 5000))],
])('a file that %s while it is read gets a sentence, and the earlier result stays', async (_, happen) => {
  const visit = await (await site.visit()).begin();
  await visit.measure('even.fits', even().bytes);
  const path = join(folder, 'fleeting.fits');
  writeFileSync(path, widening().bytes);
  const letGo = await holdReading(visit);
  await visit.page.getByTestId('picker').setInputFiles(path);
  await visit.page.getByText('fleeting.fits').waitFor();
  happen(path);
  await letGo();
  const fault = await faultText(visit);
  expect(fault).toContain('fleeting.fits could not be read');
  expect(fault).toMatch(/moved, changed or unplugged.*Choose it again/);
  await expectGoesOn(visit, 'even.fits');
  await visit.close();
});

test('a folder without frames that is dropped gets a sentence', async () => {
  const empty = join(folder, 'empty');
  mkdirSync(empty);
  const visit = await (await site.visit()).begin();
  await visit.measure('even.fits', even().bytes);
  const devtools = await visit.page.context().newCDPSession(visit.page);
  const data = { items: [], files: [empty], dragOperationsMask: 1 };
  for (const type of ['dragEnter', 'dragOver', 'drop'] as const)
    await devtools.send('Input.dispatchDragEvent', { type, x: 600, y: 400, data });
  expect(await faultText(visit)).toMatch(/folder/);
  await expectGoesOn(visit, 'even.fits');
  await visit.close();
});
