import { join } from 'node:path';
import type { Page } from 'playwright-core';
import { openBuiltPage } from '../built-page.ts';

/** The built page with what in-page.js adds, drawing as fast as it can. */
export const openPage = () =>
  openBuiltPage({
    switches: ['--enable-unsafe-swiftshader', '--disable-gpu-vsync', '--disable-frame-rate-limit'],
    before: (page) => page.addInitScript({ path: join(process.cwd(), 'bench/viewer/in-page.js') }),
  });

/** A call of what in-page.js offers. */
export const ask = <T>(page: Page, call: string): Promise<T> => page.evaluate(`bench.${call}`);
