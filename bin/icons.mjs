// Draws the PNG icons from icon.svg. Pure red on black: even the start screen of the installed page spares a dark-adapted eye.
import { readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { chromium } from 'playwright-core';
import { findBrowser } from './find-browser.mjs';

const folder = fileURLToPath(new URL('../public/icons/', import.meta.url));
const drawing = Buffer.from(readFileSync(`${folder}icon.svg`)).toString('base64');
const browser = await chromium.launch({ executablePath: findBrowser(), args: ['--no-sandbox'] });
for (const side of [180, 192, 512]) {
  const page = await browser.newPage({ viewport: { width: side, height: side } });
  await page.setContent(
    `<body style="margin:0"><img width="${side}" height="${side}" src="data:image/svg+xml;base64,${drawing}">`,
  );
  await page.screenshot({ path: `${folder}icon-${side}.png` });
}
await browser.close();
