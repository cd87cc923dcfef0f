import { simulateExposure } from '../../workers/simulate/exposure.ts';
import { writeFits16, type FitsCard } from '../../workers/simulate/fits.ts';
import { createRandom } from '../../workers/simulate/random.ts';
import { makeScene, type SceneChanges } from '../../workers/simulate/scene.ts';

// Runs of frames drawn by the simulator with known motion: the long way, through pixels and files.

export interface RenderedRun {
  frames: number;
  cadenceS: number;
  exposureS: number;
  widthPx: number;
  heightPx: number;
  stars: number;
  /** Motion of the field, px at t seconds from the start of the first exposure. */
  motion: (t: number) => [number, number];
  /** Turn of the field about the sensor's centre, degrees at t seconds (held within an exposure). */
  turnDeg?: (t: number) => number;
  startTime: string;
  scene?: SceneChanges;
  cards?: (frame: number) => FitsCard[];
  seed: number;
}

const NODES = 24;
const PIXEL_UM = 3.8;

/** The frames as FITS files with what a capture program writes: DATE-OBS is the start of the exposure. */
export function renderRun(run: RenderedRun): Uint8Array<ArrayBuffer>[] {
  const random = createRandom(run.seed);
  const reach = 1.5;
  const sky = Array.from({ length: Math.round(run.stars * reach ** 2) }, () => ({
    x: (random.uniform() - 0.5) * run.widthPx * reach,
    y: (random.uniform() - 0.5) * run.heightPx * reach,
    fluxElectrons: 3000 / (0.01 + random.uniform()) ** 0.9,
  }));
  return Array.from({ length: run.frames }, (_, frame) => {
    const start = frame * run.cadenceS;
    const nodes = Array.from({ length: NODES + 1 }, (_, i) =>
      run.motion(start + (run.exposureS * i) / NODES),
    );
    // The simulator puts the mean of the path on the star: trapezia between the nodes.
    const mean = (axis: 0 | 1) =>
      nodes.reduce((sum, node, i) => sum + node[axis] * (i === 0 || i === NODES ? 0.5 : 1), 0) / NODES;
    const turn = ((run.turnDeg?.(start + run.exposureS / 2) ?? 0) * Math.PI) / 180;
    const stars = sky
      .map((star) => ({
        ...star,
        xPx: (run.widthPx - 1) / 2 + Math.cos(turn) * star.x - Math.sin(turn) * star.y + mean(0),
        yPx: (run.heightPx - 1) / 2 + Math.sin(turn) * star.x + Math.cos(turn) * star.y + mean(1),
      }))
      .filter(({ xPx, yPx }) => xPx > -20 && yPx > -20 && xPx < run.widthPx + 20 && yPx < run.heightPx + 20);
    const scene = makeScene(
      {
        exposureS: run.exposureS,
        stars,
        motion: [{ kind: 'path', nodesUm: nodes.map(([x, y]) => ({ x: x * PIXEL_UM, y: y * PIXEL_UM })) }],
        seed: run.seed + 1000 + frame,
      },
      makeScene({
        ...run.scene,
        rig: { ...run.scene?.rig, widthPx: run.widthPx, heightPx: run.heightPx, pixelSizeUm: PIXEL_UM },
      }),
    );
    const { pixels } = simulateExposure(scene);
    return writeFits16(pixels, run.widthPx, run.heightPx, [
      ['DATE-OBS', new Date(Date.parse(run.startTime) + 1000 * start).toISOString().replace('Z', '')],
      ['EXPTIME', run.exposureS],
      ['EGAIN', scene.rig.gainElectronsPerAdu],
      ['XPIXSZ', PIXEL_UM],
      ['FOCALLEN', scene.rig.focalLengthMm],
      ...(run.cards?.(frame) ?? []),
    ]);
  });
}
