import { join } from 'node:path';
import { chromium, type Page } from 'playwright-core';
import { preview } from 'vite';
import { findBrowser } from '../../bin/find-browser.mjs';

/** The built page as `npm start` serves it, with what in-page.js adds. */
export async function openPage(): Promise<{ page: Page; close(): Promise<void> }> {
  const executablePath = findBrowser();
  if (!executablePath) throw new Error('No browser found: install one with `apt-get install chromium`.');
  const server = await preview({ logLevel: 'error', preview: { host: '127.0.0.1', port: 4500 } });
  const browser = await chromium.launch({
    executablePath,
    args: [
      '--no-sandbox',
      '--enable-unsafe-swiftshader',
      '--disable-gpu-vsync',
      '--disable-frame-rate-limit',
    ],
  });
  const page = await browser.newPage({ viewport: { width: 1280, height: 900 } });
  page.setDefaultTimeout(300_000);
  await page.addInitScript({ path: join(process.cwd(), 'bench/viewer/in-page.js') });
  await page.goto(server.resolvedUrls!.local[0]);
  await page.getByTestId('sentence').waitFor();
  const close = async () => {
    await browser.close();
    await new Promise<void>((resolve) => server.httpServer.close(() => resolve()));
  };
  return { page, close };
}

/** A call of what in-page.js offers. */
export const ask = <T>(page: Page, call: string): Promise<T> => page.evaluate(`bench.${call}`);
