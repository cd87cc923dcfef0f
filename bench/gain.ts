import { simulateExposure } from '../workers/simulate/exposure.ts';
import { analyticFrame } from '../workers/simulate/analytic.ts';
import { createRandom } from '../workers/simulate/random.ts';
import { makeScene, type SceneChanges } from '../workers/simulate/scene.ts';
import { loadKernels } from '../workers/wasm/kernels.ts';
import { ALL_SITES } from '../workers/wasm/plane.ts';
import { loadPlane, measurePlane } from './pipeline.ts';

/**
 * `npm run bench -- gain [part of a name] [frames]`: what frames whose file is silent of the gain tell of it themselves,
 * beside the gain they were simulated with. Off: |ln(found / true)|, median and 90 %; said: the logarithm's stated error;
 * pull: off over said, root mean square.
 */
export async function run([part = '', frames = '5']: string[]): Promise<void> {
  const kernels = await loadKernels();
  const all: Found[] = [];
  for (const [name, draw] of Object.entries(CASES).filter(([each]) => each.includes(part))) {
    const found: Found[] = [];
    for (let seed = 1; seed <= Number(frames); seed++) {
      const mark = kernels.arena.mark();
      const { frame, mosaic, gainElectronsPerAdu } = draw(seed);
      const plane = loadPlane(kernels, frame, mosaic ? GREENS_OF_RGGB : ALL_SITES);
      const { measurement } = measurePlane(plane, null, kernels);
      kernels.arena.reset(mark);
      const off = Math.log(1 / measurement.unitsPerElectron / gainElectronsPerAdu);
      found.push({ off, said: measurement.gainLogSigma });
    }
    all.push(...found);
    console.log(`${name.padEnd(34)} ${line(found)}`);
  }
  console.log(`${'all'.padEnd(34)} ${line(all)}`);
}

interface Found {
  off: number;
  said: number;
}

function line(found: Found[]): string {
  const away = found.map(({ off }) => Math.abs(off)).sort((a, b) => a - b);
  const at = (share: number) => away[Math.min(away.length - 1, Math.floor(share * away.length))];
  const mean = found.reduce((sum, { off }) => sum + off, 0) / found.length;
  const said = found.map((one) => one.said).sort((a, b) => a - b)[found.length >> 1];
  const pull = Math.sqrt(found.reduce((sum, one) => sum + (one.off / one.said) ** 2, 0) / found.length);
  return [
    `off ${at(0.5).toFixed(2)}, 90 % ${at(0.9).toFixed(2)}, mean ${mean.toFixed(2).padStart(5)}`,
    `said ${said.toFixed(2)}, pull ${pull.toFixed(1)}`,
  ].join(' | ');
}

interface Drawn {
  frame: { pixels: Uint16Array; widthPx: number; heightPx: number };
  mosaic: boolean;
  gainElectronsPerAdu: number;
}

const GREENS_OF_RGGB = 6;

const optical =
  (changes: SceneChanges) =>
  (seed: number): Drawn => {
    const scene = makeScene({ ...changes, seed });
    const { mosaic, gainElectronsPerAdu } = scene.rig;
    return { frame: simulateExposure(scene), mosaic: mosaic !== null, gainElectronsPerAdu };
  };

const RIG: SceneChanges['rig'] = { widthPx: 1200, heightPx: 800, vignetting: 0.1 };
const POOR: SceneChanges['stars'] = {
  count: 7,
  faintestElectrons: 4000,
  brightestElectrons: 200_000,
  slope: 0.4,
};

/** Stars all alike, of no telescope: narrow ones, and a sky without any gradient. */
const narrow =
  (fwhmPx: number, mosaic: boolean, count: number, gainElectronsPerAdu: number) =>
  (seed: number): Drawn => {
    const random = createRandom(7000 + seed);
    const [widthPx, heightPx] = [1000, 700];
    const stars = Array.from({ length: count }, () => ({
      xPx: 20 + random.uniform() * (widthPx - 40),
      yPx: 20 + random.uniform() * (heightPx - 40),
      fluxElectrons: Math.min(150_000, 800 * (1 - random.uniform()) ** (-1 / 0.6)),
    }));
    const frame = analyticFrame({
      profile: 'moffat',
      fwhmPx,
      widthPx,
      heightPx,
      stars,
      skyElectrons: 80,
      readNoiseElectrons: 2,
      gainElectronsPerAdu,
      offsetAdu: 500,
      mosaic: mosaic ? 'RGGB' : null,
      seed,
    });
    return { frame, mosaic, gainElectronsPerAdu };
  };

const CASES: Record<string, (seed: number) => Drawn> = {
  'good stars': optical({ rig: RIG }),
  'good stars, flat sky': optical({ rig: { ...RIG, vignetting: 0 } }),
  'gradient, vignetting 0.3': optical({
    rig: { ...RIG, vignetting: 0.3 },
    sky: { gradient: { x: 0.15, y: -0.1 } },
  }),
  'gain 0.25': optical({ rig: { ...RIG, gainElectronsPerAdu: 0.25, fullWellElectrons: 15_000 } }),
  'gain 4': optical({
    rig: { ...RIG, gainElectronsPerAdu: 4, readNoiseElectrons: 5 },
    sky: { skyElectronsPerPx: 200 },
  }),
  '12 bit in 16, little sky': optical({
    rig: { ...RIG, bits: 12, gainElectronsPerAdu: 0.19, fullWellElectrons: 12_000, offsetAdu: 640 },
    sky: { skyElectronsPerPx: 14 },
  }),
  '12 bit in 16, coarse': optical({
    rig: { ...RIG, bits: 12, gainElectronsPerAdu: 0.25, readNoiseElectrons: 3, fullWellElectrons: 16_000 },
    sky: { skyElectronsPerPx: 5 },
  }),
  'read noise 9': optical({ rig: { ...RIG, readNoiseElectrons: 9, gainElectronsPerAdu: 1.3 } }),
  mosaic: optical({ rig: { ...RIG, mosaic: 'RGGB' } }),
  'mosaic, 12 bit, little sky': optical({
    rig: { ...RIG, mosaic: 'RGGB', bits: 12, gainElectronsPerAdu: 0.19, fullWellElectrons: 12_000 },
    sky: { skyElectronsPerPx: 14 },
  }),
  coma: optical({ rig: { ...RIG, focalRatio: 4, focalLengthMm: 800 }, optics: { comaStrength: 2 } }),
  'coma, mosaic': optical({
    rig: { ...RIG, focalRatio: 4, focalLengthMm: 800, mosaic: 'RGGB' },
    optics: { comaStrength: 2 },
  }),
  rings: optical({
    rig: { ...RIG, obstruction: 0.35 },
    optics: { focusUm: 250 },
    stars: { count: 80, faintestElectrons: 10_000, brightestElectrons: 600_000, slope: 0.4 },
  }),
  trails: optical({ rig: RIG, motion: [{ kind: 'drift', vectorUm: { x: 25, y: 12 } }] }),
  'seven stars': optical({ rig: RIG, stars: POOR }),
  'seven stars, flat sky': optical({ rig: { ...RIG, vignetting: 0 }, stars: POOR }),
  'seven stars, flat, coma': optical({
    rig: { ...RIG, vignetting: 0, focalRatio: 4 },
    optics: { comaStrength: 2 },
    stars: POOR,
  }),
  rich: optical({
    rig: RIG,
    stars: { count: 2500, faintestElectrons: 800, brightestElectrons: 200_000, slope: 0.7 },
  }),
  'narrow 1.6 px, flat sky': narrow(1.6, false, 250, 0.8),
  'narrow 1.3 px, flat sky': narrow(1.3, false, 250, 0.8),
  'narrow 1.6 px, mosaic': narrow(1.6, true, 250, 0.8),
  'narrow 1.6 px, 12 stars': narrow(1.6, false, 12, 0.8),
  'galaxies, cosmic rays, hot pixels': optical({
    rig: RIG,
    disturbances: { galaxies: 30, cosmicRays: 60, hotPixels: 300 },
  }),
};
