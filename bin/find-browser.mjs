import { existsSync } from 'node:fs';

const CANDIDATES = ['/usr/bin/chromium', '/usr/bin/chromium-browser', '/usr/bin/google-chrome'];

/** Path of an installed Chromium, or null. CHROMIUM in the environment wins. */
export function findBrowser() {
  const asked = process.env.CHROMIUM;
  return [...(asked ? [asked] : []), ...CANDIDATES].find((path) => existsSync(path)) ?? null;
}
