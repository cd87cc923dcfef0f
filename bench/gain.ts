import { isTold } from '../workers/measure/gain.ts';
import { makeScene, type SceneChanges } from '../workers/simulate/scene.ts';
import { simulateExposure } from '../workers/simulate/exposure.ts';
import { loadKernels } from '../workers/wasm/kernels.ts';
import { loadPlane, measurePlane } from './pipeline.ts';

const GREENS_OF_RGGB = 6;
const COMATIC = {
  rig: { focalRatio: 4, focalLengthMm: 600, pixelSizeUm: 3.8 },
  optics: { comaStrength: 1 },
};

/** Frames whose gain is known and not told; each with and without vignetting. */
const FRAMES: Record<string, SceneChanges> = {
  ordinary: {},
  'low gain, coarse converter': { rig: { gainElectronsPerAdu: 4 } },
  '12 bit in 16, step 0.5 e': { rig: { bits: 12, gainElectronsPerAdu: 0.03 } },
  '12 bit in 16, step 4 e': { rig: { bits: 12, gainElectronsPerAdu: 0.25, readNoiseElectrons: 3 } },
  'stars of 1.8 px': { rig: { pixelSizeUm: 3.8, focalLengthMm: 420 }, sky: { seeingArcsec: 2.2 } },
  'stars of 1.5 px': { rig: { pixelSizeUm: 3.8, focalLengthMm: 350 }, sky: { seeingArcsec: 1.5 } },
  'stars of 6 px': { sky: { seeingArcsec: 7 } },
  'comatic f/4': COMATIC,
  'comatic f/4, mosaic': { ...COMATIC, rig: { ...COMATIC.rig, mosaic: 'RGGB' } },
  'out of focus': { optics: { focusUm: 60 } },
  'dark sky': { sky: { skyElectronsPerPx: 1 } },
  'bright sky': { sky: { skyElectronsPerPx: 3000 } },
  mosaic: { rig: { mosaic: 'RGGB' } },
  'mosaic, stars of 1.8 px': { rig: { mosaic: 'RGGB', focalLengthMm: 420 }, sky: { seeingArcsec: 2.2 } },
  'twelve stars': { stars: { count: 12, faintestElectrons: 3000, brightestElectrons: 200_000, slope: 0.4 } },
  'rich field': { stars: { count: 2500, faintestElectrons: 300, brightestElectrons: 400_000, slope: 0.7 } },
  trailed: { motion: [{ kind: 'drift', vectorUm: { x: 40, y: 15 } }] },
  'read noise 10 e': { rig: { readNoiseElectrons: 10 } },
};

/** `npm run bench -- gain`: the gain that frames tell of themselves over the true one. */
export async function run([part = '']: string[]): Promise<void> {
  const kernels = await loadKernels();
  const { arena } = kernels;
  const mark = arena.mark();
  console.log('frame                        vignetting  told/true  ln sigma  pull  told');
  for (const [name, changes] of Object.entries(FRAMES)) {
    if (!name.includes(part)) continue;
    for (const vignetting of [0, 0.2]) {
      const scene = makeScene({ ...changes, rig: { ...changes.rig, vignetting }, seed: 71 });
      arena.reset(mark);
      const plane = loadPlane(
        kernels,
        simulateExposure(scene),
        scene.rig.mosaic ? GREENS_OF_RGGB : undefined,
      );
      const { unitsPerElectron, lnSigma } = measurePlane(plane, null, kernels).measurement.gain!;
      const ratio = 1 / (unitsPerElectron * scene.rig.gainElectronsPerAdu);
      console.log(
        name.padEnd(28),
        vignetting.toFixed(1).padStart(10),
        ratio.toFixed(2).padStart(10),
        lnSigma.toFixed(2).padStart(9),
        (Math.log(ratio) / lnSigma).toFixed(1).padStart(5),
        isTold({ unitsPerElectron, lnSigma }) ? '  yes' : '  no',
      );
    }
  }
}
