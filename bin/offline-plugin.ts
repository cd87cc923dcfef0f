import { createHash } from 'node:crypto';
import { readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join, relative, sep } from 'node:path';
import type { Plugin } from 'vite';

/** The service worker has a name without digest: browsers look for a newer one under the same name. */
const SCRIPT = 'offline.js';

/**
 * Builds the service worker beside the page and tells it all files of the page with a version that changes whenever
 * one of them does. The script has no imports, so that browsers without module service workers run it too.
 */
export function offlinePlugin(root: string): Plugin {
  let folder = '';
  return {
    name: 'cornerwise-offline',
    apply: (_, { command, isSsrBuild }) => command === 'build' && !isSsrBuild,
    configResolved(config) {
      folder = join(root, config.build.outDir);
    },
    buildStart() {
      this.emitFile({ type: 'chunk', id: join(root, 'workers/offline.worker.ts'), fileName: SCRIPT });
    },
    writeBundle: {
      order: 'post',
      sequential: true,
      handler() {
        const script = readFileSync(join(folder, SCRIPT), 'utf8');
        if (/^\s*(import|export)\b/m.test(script)) this.error(`${SCRIPT} must neither import nor export.`);
        const { files, version } = contentsOf(folder);
        const told = `const PAGE_FILES = ${JSON.stringify(files)}, PAGE_VERSION = ${JSON.stringify(version)};\n`;
        writeFileSync(join(folder, SCRIPT), told + script);
      },
    },
  };
}

/** All files of the built page, '' for the page itself, and a digest over names and contents. */
function contentsOf(folder: string): { files: string[]; version: string } {
  const digest = createHash('sha256');
  const paths = readdirSync(folder, { recursive: true, withFileTypes: true })
    .filter((entry) => entry.isFile())
    .map((entry) => relative(folder, join(entry.parentPath, entry.name)).split(sep).join('/'))
    .sort();
  for (const path of paths)
    digest
      .update(path)
      .update('\0')
      .update(readFileSync(join(folder, path)));
  const files = paths.filter((path) => path !== SCRIPT).map((path) => (path === 'index.html' ? '' : path));
  return { files, version: digest.digest('hex').slice(0, 16) };
}
