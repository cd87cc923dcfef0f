import { fitField } from '../../workers/fit/fit-field.ts';
import { InlineStarPool } from '../../workers/fit/star-pool.ts';
import type { StampSet } from '../../workers/protocol/stamps.ts';
import { UNKNOWN_RIG } from '../../workers/protocol/rig.ts';
import { createRandom } from '../../workers/simulate/random.ts';
import { createRenderer, renderStar } from '../../workers/simulate/render.ts';
import { makeScene } from '../../workers/simulate/scene.ts';
import type { Scene, SceneChanges } from '../../workers/simulate/scene.ts';
import { verdictOf } from '../../workers/verdict/verdict.ts';

/** A small sensor behind a f/5 telescope in 2.6 px of seeing, green light only: what the tests below change. */
export const fieldScene = (changes: SceneChanges = {}): Scene =>
  makeScene({
    ...changes,
    rig: { focalLengthMm: 600, focalRatio: 5, obstruction: 0.3, widthPx: 900, heightPx: 600, ...changes.rig },
    spectrum: [{ wavelengthUm: 0.555, focusShiftUm: 0, mono: 1, R: 1, G: 1, B: 1 }],
    sky: { seeingArcsec: 2.6 * 1.306, ...changes.sky },
  });

/**
 * Stamps of stars on a grid over the scene, drawn by the simulator (which shares no code with the fit) with photon and
 * read noise. `gain` multiplies the numbers that the fit is given as electrons.
 */
export function drawnStamps(scene: Scene, cols = 6, rows = 5, side = 17): StampSet {
  const random = createRandom(scene.seed);
  const renderer = createRenderer(scene);
  const { widthPx, heightPx, readNoiseElectrons } = scene.rig;
  const sky = scene.sky.skyElectronsPerPx;
  const count = cols * rows;
  const set: StampSet = {
    count,
    sidePx: side,
    widthPx,
    heightPx,
    electrons: new Float32Array(count * side * side),
    mask: new Uint8Array(count * side * side).fill(1),
    channel: new Uint8Array(count * side * side).fill(3),
    backgroundVariance: new Float32Array(count).fill(sky + readNoiseElectrons ** 2),
    originXPx: new Float64Array(count),
    originYPx: new Float64Array(count),
    xPx: new Float64Array(count),
    yPx: new Float64Array(count),
  };
  for (let star = 0; star < count; star++) {
    const col = star % cols;
    const row = Math.floor(star / cols);
    const x = 20 + ((widthPx - 41) * (col + 0.2 * random.uniform())) / (cols - 0.8);
    const y = 20 + ((heightPx - 41) * (row + 0.2 * random.uniform())) / (rows - 0.8);
    const flux = 20_000 * 10 ** random.uniform();
    const image = renderStar(scene, x, y, side, 'mono', renderer);
    set.originXPx[star] = image.originXPx;
    set.originYPx[star] = image.originYPx;
    set.xPx[star] = x + 0.2 * random.normal();
    set.yPx[star] = y + 0.2 * random.normal();
    image.values.forEach((value, i) => {
      set.electrons[star * side * side + i] =
        random.poisson(flux * value + sky) + readNoiseElectrons * random.normal();
    });
  }
  return set;
}

/** Fit and verdict of a set of stamps with the scene's optics. */
export async function analysed(stamps: StampSet, { rig }: Scene) {
  const facts = {
    focalLengthMm: rig.focalLengthMm,
    apertureMm: rig.focalLengthMm / rig.focalRatio,
    pixelSizeUm: rig.pixelSizeUm,
    obstruction: rig.obstruction,
  };
  const fit = await fitField(stamps, facts, UNKNOWN_RIG, (set, optics) => InlineStarPool.create(set, optics));
  if (!fit.ok) throw new Error(fit.fault.message);
  const frame = {
    ...facts,
    widthPx: rig.widthPx,
    heightPx: rig.heightPx,
    mosaic: null,
    exposureS: 10,
    arcsecPerPx: null,
  };
  const nothing = { fwhmPx: null, hfdPx: null, elongation: null, angleDeg: null };
  return { fit: fit.value, ...verdictOf(fit.value, { frame, sensor: nothing }, UNKNOWN_RIG) };
}

/** The same stamps as a camera turned over would have taken them. */
export function flippedX(stamps: StampSet): StampSet {
  const side = stamps.sidePx;
  const area = side * side;
  const flip = <T extends Float32Array | Uint8Array>(from: T): T => {
    const to = from.slice() as T;
    for (let i = 0; i < from.length; i++) {
      const at = i % area;
      to[i - at + Math.floor(at / side) * side + (side - 1 - (at % side))] = from[i];
    }
    return to;
  };
  return {
    ...stamps,
    electrons: flip(stamps.electrons),
    mask: flip(stamps.mask),
    channel: flip(stamps.channel),
    originXPx: stamps.originXPx.map((x) => stamps.widthPx - x - side),
    xPx: stamps.xPx.map((x) => stamps.widthPx - 1 - x),
  };
}
