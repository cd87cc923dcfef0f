import { spawnSync } from 'node:child_process';
import { join } from 'node:path';
import { writeFileSync } from 'node:fs';
import { nodeSource } from '../../bin/node-source.ts';
import { FrameSession } from '../../workers/session.ts';
import { writeFits16 } from '../../workers/simulate/fits.ts';
import { loadKernels } from '../../workers/wasm/kernels.ts';
import { starField } from '../star-field.ts';

/** Largest memory of a process that measures the file, less that of one that measures a tiny one, over the pixels. */
export function printMemory(fits: string, folder: string, pixelBytes: number): void {
  const tiny = join(folder, 'tiny.fits');
  const small = starField(0.1, 20, 1);
  writeFileSync(tiny, writeFits16(small.pixels, small.widthPx, small.heightPx));
  const kilobytes = [fits, tiny].map((file) => {
    const words = [process.argv[1], 'speed', 'memory-of', file];
    return Number(spawnSync(process.execPath, words, { encoding: 'utf8' }).stdout);
  });
  const more = (kilobytes[0] - kilobytes[1]) * 1024;
  console.log(
    `memory: ${(more / 1e6).toFixed(0)} MB more than for a tiny frame, ${(more / pixelBytes).toFixed(2)} times the file (goal 1.6)`,
  );
}

export async function measureForMemory(file: string): Promise<void> {
  const session = new FrameSession(await loadKernels());
  const source = await nodeSource(file);
  if (!source.ok) throw new Error(source.fault.message);
  await session.measure(source.value, { rig: {} });
  console.log(String(process.resourceUsage().maxRSS));
}
