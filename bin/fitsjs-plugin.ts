import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import type { Plugin } from 'vite';

const MODULE_ID = 'virtual:fitsjs';
const RESOLVED_ID = '\0' + MODULE_ID;

/**
 * Serves the fitsjs library as a module, `virtual:fitsjs`. The library hangs itself on `this.astro`, and `this` is
 * undefined in a module; so its text is wrapped in a function that is called with an object of ours. The same module
 * serves the page's workers, the shell command and the tests.
 */
export function fitsjsPlugin(): Plugin {
  return {
    name: 'cornerwise-fitsjs',
    resolveId: (id) => (id === MODULE_ID ? RESOLVED_ID : null),
    load(id) {
      if (id !== RESOLVED_ID) return null;
      const text = readFileSync(createRequire(import.meta.url).resolve('fitsjs'), 'utf8');
      return `const scope = {};\n(function () {\n${text}\n}).call(scope);\nexport default scope.astro;\n`;
    },
  };
}
