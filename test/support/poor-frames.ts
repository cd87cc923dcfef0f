import { simulateExposure } from '../../workers/simulate/exposure.ts';
import { drawStars } from '../../workers/simulate/field.ts';
import { writeFits16 } from '../../workers/simulate/fits.ts';
import { makeScene } from '../../workers/simulate/scene.ts';

/** Trail of each frame on the sensor, µm: the mount does something else every time. */
export const TRAILS_UM = [
  { x: 9, y: 3 },
  { x: 2, y: -8 },
  { x: -4, y: 2 },
  { x: 6, y: 6 },
];
/** The same in every frame: a sensor that leans, and how. */
export const TILT_UM_PER_MM = { x: 36, y: -22 };

/**
 * Frames of one field with few stars, as FITS files, drawn by the simulator (which shares no code with what measures):
 * one leaning sensor, another drift and other air in each. `other`: of another field under the same telescope.
 */
export function poorFrames(count: number, stars = 24, other = false): Uint8Array[] {
  const base = makeScene({
    rig: {
      focalLengthMm: 450,
      focalRatio: 5,
      obstruction: 0,
      pixelSizeUm: 3.8,
      widthPx: 900,
      heightPx: 640,
    },
    optics: { tiltUmPerMm: TILT_UM_PER_MM, focusUm: 6 },
    sky: { seeingArcsec: 3, skyElectronsPerPx: 60 },
    stars: { count: stars, faintestElectrons: 6000, brightestElectrons: 200_000, slope: 0.4 },
    seed: other ? 977 : 41,
  });
  const list = drawStars(base);
  return Array.from({ length: count }, (_, i) => {
    const scene = makeScene(
      {
        motion: [{ kind: 'drift', vectorUm: TRAILS_UM[i % TRAILS_UM.length] }],
        sky: { seeingArcsec: [3, 3.4, 2.8, 3.1][i % 4] },
        seed: base.seed * 10 + i,
      },
      base,
    );
    const moved = list.map((star) => ({ ...star, xPx: star.xPx + 3.3 * i, yPx: star.yPx - 1.7 * i }));
    const { pixels, widthPx, heightPx } = simulateExposure({ ...scene, stars: moved });
    const { rig, exposureS } = scene;
    return writeFits16(pixels, widthPx, heightPx, [
      ['EGAIN', rig.gainElectronsPerAdu],
      ['EXPTIME', exposureS],
      ['FOCALLEN', rig.focalLengthMm],
      ['APTDIA', rig.focalLengthMm / rig.focalRatio],
      ['XPIXSZ', rig.pixelSizeUm],
      ['DATE-OBS', `2026-10-17T21:0${i}:00`],
    ]);
  });
}
