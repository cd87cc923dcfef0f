import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { writeFits16 } from '../workers/simulate/fits.ts';
import { starField } from './star-field.ts';
import { openPage } from './viewer/page.ts';
import { printPanning } from './viewer/panning.ts';
import { printVerdict } from './viewer/verdict.ts';
import { printWeights } from './viewer/weights.ts';

/**
 * `npm run bench -- viewer [megapixels]`: the built page (`npm run build`) in a headless browser: weight of its scripts,
 * panning against an empty full-canvas shader, first verdict on screen against the bare analysis.
 */
export async function run([megapixels = '61']: string[]): Promise<void> {
  printWeights();
  const folder = mkdtempSync(join(tmpdir(), 'viewer-'));
  const { page, close } = await openPage();
  try {
    await printVerdict(page);
    const file = join(folder, 'large.fits');
    const { pixels, widthPx, heightPx } = starField(Number(megapixels), 4000, 1);
    writeFileSync(file, writeFits16(pixels, widthPx, heightPx, []));
    await printPanning(page, file);
  } finally {
    await close();
    rmSync(folder, { recursive: true });
  }
}
