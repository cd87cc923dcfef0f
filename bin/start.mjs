// `npm start`: build the page, serve it on this machine only, and show it. Never fails for want of a browser.
import { spawn } from 'node:child_process';
import { build, preview } from 'vite';

await build({ logLevel: 'warn' });
const server = await preview({ preview: { host: '127.0.0.1', port: 4173 }, logLevel: 'warn' });
const address = server.resolvedUrls.local[0];
console.log(`Cornerwise is open at ${address} (this machine only; stop with Ctrl+C)`);
openBrowser(address);

function openBrowser(url) {
  if (process.platform === 'linux' && !process.env.DISPLAY && !process.env.WAYLAND_DISPLAY) return;
  const [command, ...args] = { darwin: ['open', url], win32: ['cmd', '/c', 'start', '', url] }[
    process.platform
  ] ?? ['xdg-open', url];
  spawn(command, args, { stdio: 'ignore', detached: true })
    .on('error', () => {})
    .unref();
}
