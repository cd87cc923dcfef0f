import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { gzipSync } from 'node:zlib';

/** Chunks that only some formats need; they are fetched when such a file is opened. */
const DECODER = /^(decoder|bzip2|tiled|exif|_virtual_fitsjs|picture|packing|pixels)/;

/** Gzipped sizes of the built page's scripts: the first, all without decoders, all. */
export function printWeights(): void {
  const folder = join(process.cwd(), 'dist/page');
  const [, entry] = /<script[^>]*src="\.?\/?([^"]+\.js)"/.exec(
    readFileSync(join(folder, 'index.html'), 'utf8'),
  )!;
  const weight = (file: string) => gzipSync(readFileSync(join(folder, file)), { level: 9 }).length / 1000;
  const scripts = readdirSync(join(folder, 'assets')).filter((name) => name.endsWith('.js'));
  const sum = (names: string[]) => names.reduce((total, name) => total + weight(`assets/${name}`), 0);
  console.log(`first script ${weight(entry).toFixed(1)} kB gzipped`);
  console.log(`all but decoders ${sum(scripts.filter((name) => !DECODER.test(name))).toFixed(1)} kB (< 350)`);
  console.log(`all scripts and workers ${sum(scripts).toFixed(1)} kB`);
}
