// `npm test`: style and types, the unit tests, then the built page in a real browser.
import { spawnSync } from 'node:child_process';
import { ensureBrowser } from './find-browser.mjs';

function run(...command) {
  const { status } = spawnSync('npx', ['--no-install', ...command], { stdio: 'inherit' });
  if (status !== 0) process.exit(status ?? 1);
}

if (!ensureBrowser()) {
  console.error(
    'No browser found for the page tests: install one with `apt-get install chromium` (or set CHROMIUM).',
  );
  process.exit(1);
}
run('prettier', '--check', '--log-level', 'warn', '.');
run('eslint', '.');
for (const project of ['workers', 'bin', 'test']) run('tsc', '-p', `${project}/tsconfig.json`);
run('vue-tsc', '-p', 'src/tsconfig.json');
run('vite', 'build', '--logLevel', 'warn');
run('vite', 'build', '--ssr', '--logLevel', 'error');
run('vitest', 'run', ...process.argv.slice(2));
