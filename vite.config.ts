import { fileURLToPath } from 'node:url';
import vue from '@vitejs/plugin-vue';
import { defineConfig } from 'vitest/config';
import { fitsjsPlugin } from './bin/fitsjs-plugin.ts';
import { kernelsPlugin } from './bin/kernels-plugin.ts';
import { offlinePlugin } from './bin/offline-plugin.ts';
import { securityHeaders } from './bin/security-headers.mjs';

const root = fileURLToPath(new URL('.', import.meta.url));

/** One file, three products: the page, the shell commands (`vite build --ssr`), and the test run. */
export default defineConfig(({ isSsrBuild }) => ({
  root,
  base: './',
  plugins: [vue(), kernelsPlugin(root), fitsjsPlugin(), offlinePlugin(root)],
  worker: { format: 'es', plugins: () => [kernelsPlugin(root), fitsjsPlugin()] },
  publicDir: isSsrBuild ? false : 'public',
  build: isSsrBuild
    ? {
        target: 'node20',
        outDir: 'dist/shell',
        rollupOptions: {
          input: {
            measure: 'bin/measure.ts',
            'star-thread': 'bin/star-thread.ts',
            'demo-frames': 'bin/demo-frames.ts',
            bench: 'bench/main.ts',
          },
        },
      }
    : { target: 'es2022', outDir: 'dist/page' },
  // The bench drives a browser with tools that are only there for developing and cannot be bundled.
  ssr: { noExternal: true, external: ['playwright-core', 'vite'] },
  preview: { headers: securityHeaders },
  test: {
    testTimeout: 60_000,
    projects: [
      { extends: true, test: { name: 'unit', include: ['test/**/*.test.ts'], exclude: ['test/browser/**'] } },
      {
        extends: true,
        test: {
          name: 'browser',
          include: ['test/browser/**/*.test.ts'],
          fileParallelism: false,
          // A page may be slow to come round; one second is a machine's patience.
          expect: { poll: { timeout: 20_000 } },
        },
      },
    ],
  },
}));
