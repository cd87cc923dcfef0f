import { createHash } from 'node:crypto';
import { existsSync, mkdirSync, readFileSync, readdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import type { Plugin } from 'vite';

const MODULE_ID = 'virtual:kernels';
const RESOLVED_ID = '\0' + MODULE_ID;

/**
 * Compiles the AssemblyScript kernels and serves them as one module, `virtual:kernels`, whose default export is
 * the WebAssembly binary in base64. The same module serves the page's workers, the shell command and the tests,
 * so none of them needs to know where a file lies. A compile error fails the build with the compiler's own words.
 */
export function kernelsPlugin(root: string): Plugin {
  const sourceFolder = join(root, 'workers/kernels');
  let compiled: Promise<Uint8Array> | null = null;
  return {
    name: 'cornerwise-kernels',
    resolveId: (id) => (id === MODULE_ID ? RESOLVED_ID : null),
    async load(id) {
      if (id !== RESOLVED_ID) return null;
      for (const file of readdirSync(sourceFolder)) this.addWatchFile(join(sourceFolder, file));
      compiled ??= compileKernels(root, sourceFolder);
      const bytes = await compiled;
      return `export default ${JSON.stringify(Buffer.from(bytes).toString('base64'))};`;
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
