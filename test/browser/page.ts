import { existsSync, readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { fileURLToPath } from 'node:url';
import { chromium, type Browser, type BrowserContextOptions, type Page } from 'playwright-core';
import { preview, type PreviewServer } from 'vite';
import { findBrowser } from '../../bin/find-browser.mjs';
import type { RunAbout } from '../../src/keep/run-shelf.ts';

const root = fileURLToPath(new URL('../..', import.meta.url));
export const screenshots = `${root}test-output`;
export const builtPage = `${root}dist/page`;

/** The built page behind the same server and headers as `npm start`, and a browser to open it with. */
export class Site {
  private constructor(
    private readonly server: PreviewServer,
    private readonly browser: Browser,
    readonly url: string,
  ) {}

  static async open(): Promise<Site> {
    if (!existsSync(`${builtPage}/index.html`))
      throw new Error('There is no built page: run `npx vite build` first (`npm test` does).');
    const executablePath = findBrowser();
    if (!executablePath) throw new Error('No browser found: install one with `apt-get install chromium`.');
    const server = await preview({
      root,
      logLevel: 'error',
      preview: { host: '127.0.0.1', port: 4300, strictPort: false },
    });
    const browser = await chromium.launch({
      executablePath,
      // `*.lan` stands for another machine of the house: browsers trust this one's addresses over plain http, not others.
      args: ['--no-sandbox', '--force-color-profile=srgb', '--host-resolver-rules=MAP *.lan 127.0.0.1'],
      // Scroll bars belong to what is seen at night.
      ignoreDefaultArgs: ['--hide-scrollbars'],
    });
    return new Site(server, browser, server.resolvedUrls!.local[0]);
  }

  /**
   * A visitor's first visit. Everything that the page asks for and every error is written down. Only who asks for it
   * gets the copy of the page that opens without a server: it costs a download of everything.
   */
  async visit(options: BrowserContextOptions = {}, url = this.url): Promise<Visit> {
    const context = await this.browser.newContext({
      viewport: { width: 1280, height: 900 },
      serviceWorkers: 'block',
      ...options,
    });
    return new Visit(await context.newPage(), url);
  }

  async close(): Promise<void> {
    await this.browser.close();
    await new Promise<void>((resolve) => this.server.httpServer.close(() => resolve()));
  }
}

export class Visit {
  readonly requests: string[] = [];
  readonly errors: string[] = [];

  constructor(
    readonly page: Page,
    readonly url: string,
  ) {
    page.setDefaultTimeout(30_000);
    page.context().on('request', (request) => this.requests.push(request.url()));
    page.on('pageerror', (error) => this.errors.push(error.message));
    page.on('console', (message) => {
      if (message.type() === 'error') this.errors.push(message.text());
    });
  }

  /** Opens the page and waits until the first demo frame is measured. */
  async begin(): Promise<this> {
    await this.page.goto(this.url);
    await this.page.getByTestId('sentence').waitFor();
    return this;
  }

  /** Opens a demo frame by its title and waits until it is measured. */
  async demo(title: string): Promise<void> {
    if ((await this.fileName()) === title) return;
    await this.page.getByRole('button', { name: 'Demo frames' }).click();
    await this.page.getByText(title).first().click();
    await this.page.getByTestId('file-name').getByText(title, { exact: true }).waitFor();
  }

  /** Waits until the causes of the frame on the page are found. */
  async explained(): Promise<void> {
    await this.page.locator('.verdict').waitFor({ timeout: 60_000 });
  }

  fileName = () => this.page.getByTestId('file-name').innerText();
  sentence = () => this.page.getByTestId('sentence').innerText();
  tab = (name: string) => this.page.getByRole('tab', { name }).click();
  light = (name: string) => this.page.getByRole('radio', { name }).check({ force: true });

  /** A big number with its error, in the unit that is shown. */
  async number(place: 'centre' | 'corners'): Promise<{ value: number; sigma: number; unit: string }> {
    const text = await this.page.getByTestId(`size-${place}`).locator('dd').innerText();
    const [, value, unit, sigma] = /([\d.]+)\s+(\S+)\s+±\s*([\d.]+)/.exec(text) ?? [];
    return { value: Number(value), sigma: Number(sigma), unit };
  }

  /** A number of the star that is open. */
  async starValue(name: string): Promise<number> {
    const label = this.page.getByText(name, { exact: true });
    const row = this.page.getByTestId('star-card').locator('dl > div').filter({ has: label });
    return parseFloat(await row.locator('dd').innerText());
  }

  /** Drops a file on the page the way a hand does: over the window, then let go. */
  async drop(name: string, bytes: Uint8Array): Promise<void> {
    const data = Buffer.from(bytes).toString('base64');
    await this.page.evaluate(
      ([fileName, base64]) => {
        const content = Uint8Array.from(atob(base64), (c) => c.charCodeAt(0));
        const dataTransfer = new DataTransfer();
        dataTransfer.items.add(new File([content], fileName));
        for (const type of ['dragenter', 'dragover', 'drop'])
          document.body.dispatchEvent(new DragEvent(type, { dataTransfer, bubbles: true, cancelable: true }));
      },
      [name, data],
    );
  }

  /** Drops a frame and waits until it is the one on the page. */
  async measure(name: string, bytes: Uint8Array): Promise<void> {
    await this.drop(name, bytes);
    await this.page.getByTestId('file-name').getByText(name, { exact: true }).waitFor();
  }

  /** The worker that holds the frame. */
  frameWorker() {
    const worker = this.page.workers().find((candidate) => candidate.url().includes('frame.worker'));
    if (!worker) throw new Error('The page has no frame worker.');
    return worker;
  }

  /** From now on the frame worker waits for ever when it reads a file: a run to interrupt. */
  async stallReading(): Promise<void> {
    await this.frameWorker().evaluate(() => {
      const forever = () => new Promise<never>(() => {});
      Blob.prototype.slice = () => ({ arrayBuffer: forever, stream: forever }) as unknown as Blob;
      Blob.prototype.arrayBuffer = forever;
      Blob.prototype.stream = () => new ReadableStream({ pull: forever });
    });
  }

  /** What the database of the page holds, read beside the page. */
  private kept = (store: string, what: 'getAllKeys' | 'getAll') =>
    this.page.evaluate(
      ([name, ask]) =>
        new Promise<unknown[]>((resolve, reject) => {
          const opening = indexedDB.open('cornerwise');
          opening.onerror = () => reject(opening.error);
          opening.onsuccess = () => {
            const asked = opening.result.transaction(name).objectStore(name)[ask]();
            asked.onsuccess = () => {
              opening.result.close();
              resolve(asked.result);
            };
          };
        }),
      [store, what] as const,
    );
  settingNames = async () => (await this.kept('settings', 'getAllKeys')) as string[];
  recordsIn = async (store: string) => (await this.kept(store, 'getAllKeys')).length;
  /** What is remembered of all runs, the one begun first in front. */
  keptRuns = async () =>
    ((await this.kept('runs', 'getAll')) as { about: RunAbout }[]).map(({ about }) => about);
  /** What is remembered of the only run. */
  async keptRun(): Promise<RunAbout> {
    const runs = await this.keptRuns();
    if (runs.length !== 1) throw new Error(`${runs.length} runs are kept`);
    return runs[0];
  }

  /** What axe finds of serious or critical faults on the page as it stands. */
  async seriousFaults(): Promise<string[]> {
    const axe = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');
    await this.page.evaluate(axe);
    return this.page.evaluate(async () => {
      type Found = { id: string; impact: string; nodes: { target: string[]; failureSummary: string }[] };
      const run = (globalThis as unknown as { axe: { run(): Promise<{ violations: Found[] }> } }).axe;
      return (await run.run()).violations
        .filter(({ impact }) => impact === 'serious' || impact === 'critical')
        .map(({ id, nodes }) => `${id}: ${nodes.map((n) => `${n.target} ${n.failureSummary}`).join(' | ')}`);
    });
  }

  /** Everything to be pressed that is smaller than 44 CSS pixels (WCAG 2.5.5) either way. */
  smallTargets = () =>
    this.page.evaluate(() =>
      [
        ...document.querySelectorAll<HTMLElement>(
          'button, summary, label:has(input), [role="slider"], [role="tab"], form input',
        ),
      ]
        .filter((element) => element.checkVisibility() && !element.closest('.hidden'))
        .map((element) => ({
          text: element.innerText || element.className,
          box: element.getBoundingClientRect(),
        }))
        .filter(({ box }) => Math.round(box.width) < 44 || Math.round(box.height) < 44)
        .map(({ text, box }) => `${text}: ${box.width} x ${box.height}`),
    );

  /** By how many pixels the page is wider than the screen it was opened on (a phone's browser widens its window to fit). */
  async beyond(): Promise<number> {
    const width = await this.page.evaluate(() => document.documentElement.scrollWidth);
    return Math.max(0, width - this.page.viewportSize()!.width);
  }

  close = () => this.page.context().close();
}

/** Largest red, green and blue of a picture of the page, and how many pixels are lit at all. */
export async function brightestOf(page: Page, png: Buffer) {
  const blank = await page.context().newPage();
  try {
    return await blank.evaluate(async (base64) => {
      const bytes = Uint8Array.from(atob(base64), (c) => c.charCodeAt(0));
      const bitmap = await createImageBitmap(new Blob([bytes], { type: 'image/png' }), {
        colorSpaceConversion: 'none',
      });
      const canvas = new OffscreenCanvas(bitmap.width, bitmap.height);
      const context = canvas.getContext('2d')!;
      context.drawImage(bitmap, 0, 0);
      const { data } = context.getImageData(0, 0, bitmap.width, bitmap.height);
      const most = { red: 0, green: 0, blue: 0, lit: 0 };
      for (let i = 0; i < data.length; i += 4) {
        most.red = Math.max(most.red, data[i]);
        most.green = Math.max(most.green, data[i + 1]);
        most.blue = Math.max(most.blue, data[i + 2]);
        if (data[i] > 60) most.lit++;
      }
      return most;
    }, png.toString('base64'));
  } finally {
    await blank.close();
  }
}
