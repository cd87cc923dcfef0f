import { readFileSync } from 'node:fs';
import type { Page } from 'playwright-core';

const MB = 1024 * 1024;

/** Memory that the page's process holds as the system counts it, MB: the page, its workers, and what waits to be tidied. */
export async function residentMb(page: Page): Promise<number> {
  const session = await page.context().browser()!.newBrowserCDPSession();
  const { processInfo } = await session.send('SystemInfo.getProcessInfo');
  await session.detach();
  const sizes = processInfo
    .filter(({ type }) => type === 'renderer')
    .map(({ id }) => {
      const [, kB] = /VmRSS:\s+(\d+)/.exec(readFileSync(`/proc/${id}/status`, 'utf8')) ?? [];
      return Number(kB ?? 0) / 1024;
    });
  return Math.max(...sizes);
}

interface Measured {
  breakdown: { bytes: number; attribution: { url: string; scope: string }[]; types: string[] }[];
}

/**
 * Memory in use by page and workers as the browser counts it after tidying, MB, by name
 * (`performance.measureUserAgentSpecificMemory`, which needs an isolated page and an eager browser).
 */
export async function inUseMb(page: Page): Promise<Record<string, number>> {
  const measured = await page.evaluate(() =>
    (
      performance as unknown as { measureUserAgentSpecificMemory(): Promise<unknown> }
    ).measureUserAgentSpecificMemory(),
  );
  const use: Record<string, number> = {};
  for (const { bytes, attribution, types } of (measured as Measured).breakdown) {
    const url = attribution[0]?.url ?? '';
    const worker = /\/([a-z-]+)\.worker/.exec(url)?.[1];
    const name = worker ?? (types.includes('DOM') ? 'dom' : attribution.length > 0 ? 'page' : 'shared');
    use[name] = (use[name] ?? 0) + bytes / MB;
  }
  return use;
}
