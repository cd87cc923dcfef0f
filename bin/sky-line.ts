import type { Measured } from '../workers/protocol/api.ts';
import { skyRateFromNoise, swampingExposureS } from '../workers/rig/sub-exposure.ts';

/** Noise above the sky's alone at which a sub counts as long enough, the same as the page begins with. */
const EXCESS = 0.05;

/** What the sky of a frame asks of the length of a sub, in a sentence; null while gain, exposure or read noise are not known. */
export function skyLine(
  { meta, view }: Pick<Measured, 'meta' | 'view'>,
  readNoise: number | null,
): string | null {
  const { exposureS, gainElectronsPerAdu } = meta;
  if (readNoise === null || !exposureS || !gainElectronsPerAdu) return null;
  const perS = skyRateFromNoise(view.noiseAdu, gainElectronsPerAdu, readNoise, exposureS);
  if (perS === null) return 'The noise of the sky is no more than the read noise: subs should be longer.';
  const longEnough = swampingExposureS(readNoise, perS, EXCESS);
  return `The sky gives ${perS.toPrecision(2)} electrons a second and pixel: subs of ${longEnough.toPrecision(2)} s or more lose little to read noise.`;
}
