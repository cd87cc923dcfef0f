import { spawnSync } from 'node:child_process';
import { existsSync } from 'node:fs';

const CANDIDATES = ['/usr/bin/chromium', '/usr/bin/chromium-browser', '/usr/bin/google-chrome'];

/** Path of an installed Chromium, or null. CHROMIUM in the environment wins. */
export function findBrowser() {
  const asked = process.env.CHROMIUM;
  return [...(asked ? [asked] : []), ...CANDIDATES].find((path) => existsSync(path)) ?? null;
}

/** Where there is none and this is allowed (root, Debian's package manager), installs one. True when there is one. */
export function ensureBrowser() {
  if (findBrowser()) return true;
  if (process.getuid?.() !== 0 || !existsSync('/usr/bin/apt-get')) return false;
  const env = { ...process.env, DEBIAN_FRONTEND: 'noninteractive' };
  const apt = (...words) =>
    spawnSync('apt-get', ['-qq', ...words], { env, stdio: ['ignore', 'ignore', 'inherit'] }).status === 0;
  console.log('No browser found for the page tests: installing chromium.');
  return apt('update') && apt('install', '-y', 'chromium') && findBrowser() !== null;
}
