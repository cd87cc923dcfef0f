import { chromium, type Page } from 'playwright-core';
import { preview } from 'vite';
import { findBrowser } from '../bin/find-browser.mjs';
import { securityHeaders } from '../bin/security-headers.mjs';

/** The built page as `npm start` serves it, in a headless browser with switches and headers of the bench besides. */
export async function openBuiltPage(options: {
  switches?: string[];
  headers?: Record<string, string>;
  /** Runs in every page before the page's own scripts. */
  before?: (page: Page) => Promise<unknown>;
}): Promise<{ page: Page; close(): Promise<void> }> {
  const executablePath = findBrowser();
  if (!executablePath) throw new Error('No browser found: install one with `apt-get install chromium`.');
  const headers = { ...securityHeaders, ...options.headers };
  const server = await preview({ logLevel: 'error', preview: { host: '127.0.0.1', port: 4500, headers } });
  const browser = await chromium.launch({
    executablePath,
    args: ['--no-sandbox', ...(options.switches ?? [])],
  });
  const page = await browser.newPage({ viewport: { width: 1280, height: 900 } });
  page.setDefaultTimeout(300_000);
  await options.before?.(page);
  await page.goto(server.resolvedUrls!.local[0]);
  await page.getByTestId('sentence').waitFor();
  const close = async () => {
    await browser.close();
    await new Promise<void>((resolve) => server.httpServer.close(() => resolve()));
  };
  return { page, close };
}
