// `npm run demo-frames`: draws the example frames into public/demo, with the list that the page reads.
import { mkdir, readdir, rm, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { gzipSync } from 'node:zlib';
import type { DemoFrame } from '../workers/protocol/demo.ts';
import { EVENING, headerCards } from '../workers/simulate/evening.ts';
import { simulateExposure } from '../workers/simulate/exposure.ts';
import { writeFits16 } from '../workers/simulate/fits.ts';

const folder = join(process.cwd(), 'public/demo'); // npm runs scripts in the project's folder
await mkdir(folder, { recursive: true });
for (const old of await readdir(folder)) if (old.endsWith('.fits.gz')) await rm(join(folder, old));

const index: DemoFrame[] = [];
for (const frame of EVENING) {
  const started = performance.now();
  const { pixels, widthPx, heightPx, stars } = simulateExposure(frame.scene);
  const bytes = gzipSync(writeFits16(pixels, widthPx, heightPx, headerCards(frame)), { level: 9 });
  const file = `${frame.name}.fits.gz`;
  await writeFile(join(folder, file), bytes);
  const { title, story, instrument } = frame;
  index.push({ file, title, story, instrument, bytes: bytes.length });
  const seconds = ((performance.now() - started) / 1000).toFixed(1);
  console.log(`${file}: ${stars.length} stars, ${(bytes.length / 1000).toFixed(0)} kB, ${seconds} s`);
}
await writeFile(join(folder, 'index.json'), `${JSON.stringify(index, null, 2)}\n`);
const total = index.reduce((sum, { bytes }) => sum + bytes, 0);
console.log(`${index.length} frames, ${(total / 1e6).toFixed(2)} MB`);
