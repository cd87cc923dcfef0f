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

/** Charge above the full well runs to both neighbours in the column, half each, until every pixel can hold its own. */
function bleedColumns(charge: Float64Array, width: number, height: number, fullWell: number): void {
  for (let x = 0; x < width; x++) {
    for (const direction of [1, -1]) {
      let carried = 0;
      const first = direction === 1 ? 0 : height - 1;
      for (let n = 0, y = first; n < height; n++, y += direction) {
        const i = y * width + x;
        const before = charge[i] + carried;
        carried = 0;
        if (before > fullWell) {
          // On the way down half of the excess goes on and half stays for the way up.
          const excess = before - fullWell;
          carried = direction === 1 ? excess / 2 : excess;
          charge[i] = before - carried;
        } else {
          charge[i] = before;
        }
      }
    }
  }
}
