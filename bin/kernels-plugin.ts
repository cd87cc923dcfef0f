import { createHash } from 'node:crypto';
import { existsSync, mkdirSync, readFileSync, readdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import type { Plugin } from 'vite';

const MODULE_ID = 'virtual:kernels';
const RESOLVED_ID = '\0' + MODULE_ID;

/**
 * Compiles the AssemblyScript kernels and serves them as one module, `virtual:kernels`, whose default export gets
 * the WebAssembly binary: from one file beside the scripts in the built page, so that its workers do not hold a copy
 * each; from the module itself in the shell command and the tests, so that they need not know where a file lies. A
 * compile error fails the build with the compiler's own words.
 */
export function kernelsPlugin(root: string): Plugin {
  const sourceFolder = join(root, 'workers/kernels');
  let compiled: Promise<Uint8Array> | null = null;
  let asFile = false;
  return {
    name: 'cornerwise-kernels',
    configResolved({ command, build }) {
      asFile = command === 'build' && !build.ssr;
    },
    resolveId: (id) => (id === MODULE_ID ? RESOLVED_ID : null),
    async load(id) {
      if (id !== RESOLVED_ID) return null;
      for (const file of readdirSync(sourceFolder)) this.addWatchFile(join(sourceFolder, file));
      compiled ??= compileKernels(root, sourceFolder);
      const bytes = await compiled;
      if (!asFile)
        return `const text = ${JSON.stringify(Buffer.from(bytes).toString('base64'))};
          export default async () => Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));`;
      const file = this.emitFile({ type: 'asset', name: 'kernels.wasm', source: bytes });
      return `export default async () => {
          const answer = await fetch(import.meta.ROLLUP_FILE_URL_${file});
          if (!answer.ok) throw new Error('A part of the page is missing: load it anew.');
          return answer.arrayBuffer();
        };`;
    },
    watchChange(id) {
      if (id.startsWith(sourceFolder)) compiled = null;
    },
  };
}

const COMPILER_OPTIONS = ['--enable', 'simd', '--runtime', 'stub', '-O3', '--noAssert', '--use', 'abort='];

async function compileKernels(root: string, sourceFolder: string): Promise<Uint8Array> {
  const digest = createHash('sha256').update(COMPILER_OPTIONS.join(' '));
  for (const file of readdirSync(sourceFolder).sort())
    if (file.endsWith('.ts')) digest.update(file).update(readFileSync(join(sourceFolder, file)));
  const cacheFolder = join(root, 'node_modules/.cache/cornerwise');
  const cached = join(cacheFolder, `kernels-${digest.digest('hex').slice(0, 16)}.wasm`);
  if (existsSync(cached)) return readFileSync(cached);
  const bytes = await runCompiler(root);
  mkdirSync(cacheFolder, { recursive: true });
  writeFileSync(cached, bytes);
  return bytes;
}

async function runCompiler(root: string): Promise<Uint8Array> {
  const { default: asc } = await import('assemblyscript/asc');
  let binary: Uint8Array | null = null;
  const { error, stderr, stdout } = await asc.main(
    ['workers/kernels/index.ts', '--baseDir', root, '--outFile', 'kernels.wasm', ...COMPILER_OPTIONS],
    {
      writeFile: (name, contents) => {
        if (name.endsWith('.wasm')) binary = contents as Uint8Array;
      },
    },
  );
  if (error || !binary)
    throw new Error(`The kernels do not compile.\n${stdout.toString()}${stderr.toString()}`);
  return binary;
}
