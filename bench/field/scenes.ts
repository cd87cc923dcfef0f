import { createRandom } from '../../workers/simulate/random.ts';
import type { Random } from '../../workers/simulate/random.ts';
import { VISIBLE_LIGHT, makeScene, umPerArcsec } from '../../workers/simulate/scene.ts';
import type { Scene, SceneChanges } from '../../workers/simulate/scene.ts';
import { addFault } from './faults.ts';
import type { Kind, Workpiece } from './faults.ts';
import { INSTRUMENTS, LIGHT } from './instruments.ts';
import type { Instrument } from './instruments.ts';

/** How a field departs from a rich field with one fault and nothing that the fit is not told. */
export interface FieldWish {
  /** Stars drawn; a random number between 60 and 400 where not given. */
  stars?: number;
  /** Physics that the fit is not told. */
  untold?: readonly Untold[];
  /** Stars so faint that explanations are hard to tell apart. */
  faint?: boolean;
}

export const UNTOLD = ['vanes', 'spherical', 'aureole', 'outer scale', 'jitter', 'obstruction'] as const;
export type Untold = (typeof UNTOLD)[number];

export interface DrawnField {
  kinds: Kind[];
  instrument: string;
  scene: Scene;
  /** Obstruction that the fit is told. */
  toldObstruction: number;
  usualSeeingArcsec: number;
}

const MIXABLE: Kind[] = [
  'focus',
  'tilt',
  'curvature',
  'collimation',
  'astigmatism',
  'pinching',
  'drift',
  'rotation',
];

/** One field, decided by its seed: with one dominant fault, or with three. */
export function drawField(kind: Kind | 'mixed', seed: number, wish: FieldWish = {}): DrawnField {
  const random = createRandom(seed * 7919 + 13);
  const between = (low: number, high: number) => low + (high - low) * random.uniform();
  const instrument = pickInstrument(kind, random);
  const { rig } = makeScene({ rig: instrument.rig });
  const pxPerArcsec = umPerArcsec(rig) / rig.pixelSizeUm;
  const seeingArcsec = Math.min(3.4, Math.max(1.5, between(1.1, 2.8) / pxPerArcsec));
  const cornerMm = (Math.hypot(rig.widthPx, rig.heightPx) / 2) * (rig.pixelSizeUm / 1000);
  const sigmaPx = (seeingArcsec * pxPerArcsec) / 2.35;
  const depthUm = 2 * sigmaPx * 2 * rig.focalRatio * rig.pixelSizeUm;
  const sagUm = instrument.curvatureRadiusMm
    ? (1000 * cornerMm ** 2) / (2 * instrument.curvatureRadiusMm)
    : Infinity;
  const work: Workpiece = {
    random,
    optics: {
      focusUm: between(-0.25, 0.25) * depthUm,
      tiltUmPerMm: { x: 0, y: 0 },
      // A focal surface bent by more than the depth of focus would be the fault.
      curvatureRadiusMm: sagUm < 0.5 * depthUm ? instrument.curvatureRadiusMm : 0,
      axisMm: { x: 0, y: 0 },
      comaStrength: instrument.coma,
      comaConstantUm: { x: 0, y: 0 },
      astigmatismStrength: instrument.astigmatism,
      astigmatismUm: { cos: 0, sin: 0 },
      trefoilUm: { cos: 0, sin: 0 },
      sphericalUm: 0,
    },
    motion: [],
    seeingArcsec,
    dispersionArcsec: between(0, 0.3),
    sigmaPx,
    cornerMm,
    pixelUm: rig.pixelSizeUm,
    focalRatio: rig.focalRatio,
    obstruction: rig.obstruction,
    pxPerArcsec,
  };
  const kinds = kind === 'mixed' ? threeOf(random) : [kind];
  kinds.forEach((one, i) => addFault(one, i === 0 ? between(1, 4) : between(0.3, 1), work));
  const count = wish.stars ?? Math.round(Math.exp(between(Math.log(60), Math.log(400))));
  const changes: SceneChanges = {
    rig: instrument.rig,
    // Filters of a mosaic pass bands: three lines would part a star in three where air parts the colours.
    spectrum: instrument.rig.mosaic ? VISIBLE_LIGHT : LIGHT,
    optics: work.optics,
    motion: work.motion,
    sky: {
      seeingArcsec: work.seeingArcsec,
      dispersion: { lengthArcsec: work.dispersionArcsec, angleDeg: between(-90, 90) },
      skyElectronsPerPx: between(30, 150),
      gradient: { x: between(-0.1, 0.1), y: between(-0.1, 0.1) },
    },
    stars: { count, faintestElectrons: 2500, brightestElectrons: wish.faint ? 15_000 : 400_000, slope: 0.4 },
    disturbances: { hotPixels: 300, cosmicRays: 4, galaxies: random.integer(4), satellite: false },
    seed,
  };
  const scene = makeScene(changes);
  return {
    kinds,
    instrument: instrument.name,
    scene: wish.untold ? harden(scene, random, wish.untold) : scene,
    toldObstruction: rig.obstruction,
    // What the user believes to be usual, a tenth off; drawn apart so that it moves nothing else.
    usualSeeingArcsec: seeingArcsec * Math.exp(0.1 * createRandom(seed * 6151 + 7).normal()),
  };
}

function pickInstrument(kind: Kind | 'mixed', random: Random): Instrument {
  const any = INSTRUMENTS[random.integer(INSTRUMENTS.length)];
  if (kind === 'dispersion') return INSTRUMENTS.find(({ rig }) => rig.mosaic)!;
  // Coma of a bare paraboloid is one of a mirror.
  if (kind === 'coma' && !any.rig.obstruction) return INSTRUMENTS[0];
  return any;
}

/** Three faults, the first the strongest, at most one of them a movement. */
function threeOf(random: Random): Kind[] {
  const chosen: Kind[] = [];
  while (chosen.length < 3) {
    const kind = MIXABLE[random.integer(MIXABLE.length)];
    const moves = (one: Kind) => one === 'drift' || one === 'rotation';
    const clash = chosen.some((other) => other === kind || (moves(other) && moves(kind)));
    if (!clash && !(kind === 'focus' && chosen.includes('curvature'))) chosen.push(kind);
  }
  return chosen;
}

/** Everything is drawn whatever is wished, so that a field with a part of it is the same field. */
function harden(scene: Scene, random: Random, untold: readonly Untold[]): Scene {
  const between = (low: number, high: number) => low + (high - low) * random.uniform();
  const { obstruction } = scene.rig;
  const mirror = obstruction > 0;
  const vanes = mirror ? { count: 4, widthFraction: between(0.01, 0.02), angleDeg: between(0, 90) } : null;
  const wrongBy = mirror ? between(-0.06, 0.06) : 0;
  const sphericalUm = between(-0.06, 0.06);
  const outerScaleM = between(15, 40);
  const jitterArcsec = between(0, 0.4);
  const aureole = { fraction: between(0.02, 0.06), widthArcsec: between(8, 20) };
  const has = (one: Untold) => untold.includes(one);
  return makeScene(
    {
      rig: {
        vanes: has('vanes') ? vanes : null,
        obstruction: obstruction + (has('obstruction') ? wrongBy : 0),
      },
      optics: { sphericalUm: has('spherical') ? sphericalUm : 0 },
      sky: {
        outerScaleM: has('outer scale') ? outerScaleM : null,
        jitterArcsec: has('jitter') ? jitterArcsec : 0,
        aureole: has('aureole') ? aureole : null,
      },
    },
    scene,
  );
}
