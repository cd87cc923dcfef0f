import { createRandom } from '../../workers/simulate/random.ts';
import { makeScene } from '../../workers/simulate/scene.ts';
import type { Movement, Scene } from '../../workers/simulate/scene.ts';
import { drawStars } from '../../workers/simulate/field.ts';
import { addFault } from '../field/faults.ts';
import type { Kind, Workpiece } from '../field/faults.ts';
import { drawField } from '../field/scenes.ts';
import type { DrawnField, FieldWish } from '../field/scenes.ts';

/** Kinds whose cause is the mount: what it does differs from frame to frame. */
const MOUNT: readonly Kind[] = ['drift', 'periodic', 'jump', 'rotation'];
/** How far a hand or a worm moves the field between two frames, px. */
const DITHER_PX = 6;

/**
 * Consecutive frames of one poor field: optics, focus and stars are the same in all; the air changes by a tenth, the
 * mount moves a little in every frame (up to a third of the seeing's variance), or as much as its fault says in a
 * direction of its own. The first frame is the one that is asked about.
 */
export function drawFrames(kind: Kind, seed: number, count: number, wish: FieldWish): DrawnField[] {
  const first = drawField(kind, seed, wish);
  const list = drawStars(first.scene);
  return Array.from({ length: count }, (_, i) => {
    const random = createRandom(seed * 104_729 + i);
    const shift = { x: i * DITHER_PX * random.normal(), y: i * DITHER_PX * random.normal() };
    const scene = makeScene(
      {
        sky: { seeingArcsec: first.scene.sky.seeingArcsec * Math.exp(i > 0 ? 0.1 * random.normal() : 0) },
        motion: MOUNT.includes(kind) && i === 0 ? first.scene.motion : movement(kind, first.scene, random),
        seed: seed * 16 + i,
      },
      first.scene,
    );
    const moved = list.map((star) => ({ ...star, xPx: star.xPx + shift.x, yPx: star.yPx + shift.y }));
    return { ...first, scene: { ...scene, stars: moved } };
  });
}

function movement(
  kind: Kind,
  { rig, sky, optics }: Scene,
  random: ReturnType<typeof createRandom>,
): Movement[] {
  const pxPerArcsec = rig.focalLengthMm / 206.264806 / rig.pixelSizeUm;
  const work: Workpiece = {
    random,
    optics: { ...optics },
    motion: [],
    seeingArcsec: sky.seeingArcsec,
    dispersionArcsec: 0,
    sigmaPx: (sky.seeingArcsec * pxPerArcsec) / 2.35,
    cornerMm: (Math.hypot(rig.widthPx, rig.heightPx) / 2) * (rig.pixelSizeUm / 1000),
    pixelUm: rig.pixelSizeUm,
    focalRatio: rig.focalRatio,
    obstruction: rig.obstruction,
    pxPerArcsec,
  };
  const mount = MOUNT.includes(kind);
  addFault(mount ? kind : 'drift', mount ? 0.3 + 3 * random.uniform() : 0.15 * random.uniform(), work);
  return work.motion;
}
