import type { Random } from './random.ts';
import type { SceneRig } from './scene.ts';

/**
 * What the camera makes of the light: photon noise, full well, read noise, converter.
 * `electrons` is the expectation per pixel, row by row; the result is the 16-bit file's numbers.
 */
export function exposeSensor(electrons: Float64Array, rig: SceneRig, random: Random): Uint16Array {
  const collected = new Float64Array(electrons.length);
  for (let i = 0; i < collected.length; i++) collected[i] = random.poisson(electrons[i]);
  if (rig.bleeds) bleedColumns(collected, rig.widthPx, rig.heightPx, rig.fullWellElectrons);
  const step = converterStepAdu(rig.bits);
  const pixels = new Uint16Array(collected.length);
  for (let i = 0; i < pixels.length; i++) {
    const charge = Math.min(collected[i], rig.fullWellElectrons) + rig.readNoiseElectrons * random.normal();
    const steps = Math.round((rig.offsetAdu + charge / rig.gainElectronsPerAdu) / step);
    pixels[i] = Math.min(2 ** rig.bits - 1, Math.max(0, steps)) * step;
  }
  return pixels;
}

/** A converter of few bits counts in steps; cameras spread them over 16 bit, leaving gaps between the values. */
export const converterStepAdu = (bits: number): number => 2 ** (16 - bits);

/** Charge above the full well runs along the column, half of it each way, and fills what room it meets. */
function bleedColumns(charge: Float64Array, width: number, height: number, fullWell: number): void {
  for (let i = 0; i < charge.length; i++) {
    const excess = charge[i] - fullWell;
    if (excess <= 0) continue;
    charge[i] = fullWell;
    for (const direction of [-width, width]) {
      let running = excess / 2;
      for (let j = i + direction; running > 0 && j >= 0 && j < width * height; j += direction) {
        // A pixel that is over-full itself takes nothing; its own charge runs when its turn comes.
        const taken = Math.min(running, Math.max(0, fullWell - charge[j]));
        charge[j] += taken;
        running -= taken;
      }
    }
  }
}
