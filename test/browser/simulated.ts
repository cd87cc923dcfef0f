import { mkdtempSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { simulateExposure } from '../../workers/simulate/exposure.ts';
import { writeFits16, type FitsCard } from '../../workers/simulate/fits.ts';
import { makeScene, type SceneChanges } from '../../workers/simulate/scene.ts';

/** A small frame of the project's own simulator, rig and exposure in its header. */
export function simulated(change: SceneChanges, cards: FitsCard[] = []): Uint8Array<ArrayBuffer> {
  const scene = makeScene({
    stars: { count: 60, faintestElectrons: 6000, brightestElectrons: 200_000, slope: 0.4 },
    ...change,
    rig: { widthPx: 640, heightPx: 480, ...change.rig },
  });
  const { pixels, widthPx, heightPx } = simulateExposure(scene);
  return writeFits16(pixels, widthPx, heightPx, [
    ['EXPTIME', scene.exposureS],
    ['XPIXSZ', scene.rig.pixelSizeUm],
    ['FOCALLEN', scene.rig.focalLengthMm],
    ['APTDIA', scene.rig.focalLengthMm / scene.rig.focalRatio],
    ...cards,
  ]);
}

/** Frames as files on disk, in their order. Gives their paths. */
export function written(frames: Uint8Array[], name: string): string[] {
  const folder = mkdtempSync(join(tmpdir(), `${name}-`));
  return frames.map((bytes, i) => {
    const path = join(folder, `${name}-${i}.fits`);
    writeFileSync(path, bytes);
    return path;
  });
}
