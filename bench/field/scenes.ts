import { createRandom } from '../../workers/simulate/random.ts';
import { makeScene, umPerArcsec } from '../../workers/simulate/scene.ts';
import type { Movement, Scene, SceneRig, SpectralSample, Vector } from '../../workers/simulate/scene.ts';

/** Faults as drawn; the report's cause for each. */
export const KINDS = {
  clean: 'clean',
  focus: 'focus',
  tilt: 'tilt',
  curvature: 'curvature',
  coma: 'coma',
  collimation: 'collimation',
  astigmatism: 'astigmatism',
  pinching: 'pinching',
  drift: 'trailing',
  periodic: 'trailing',
  jump: 'trailing',
  rotation: 'rotation',
  dispersion: 'dispersion',
  seeing: 'seeing',
} as const;
export type Kind = keyof typeof KINDS;

/** Three wavelengths: enough colour to be unlike a fit with one. */
const LIGHT: SpectralSample[] = [
  { wavelengthUm: 0.47, focusShiftUm: 0, mono: 0.3, R: 0.02, G: 0.15, B: 0.6 },
  { wavelengthUm: 0.54, focusShiftUm: 0, mono: 0.38, R: 0.08, G: 0.7, B: 0.12 },
  { wavelengthUm: 0.63, focusShiftUm: 0, mono: 0.32, R: 0.7, G: 0.12, B: 0.02 },
];

interface Instrument {
  name: string;
  rig: Partial<SceneRig>;
  /** Strengths of the design's own coma and astigmatism, 1 = bare paraboloid, and its focal surface. */
  coma: number;
  astigmatism: number;
  curvatureRadiusMm: number;
}

export const INSTRUMENTS: Instrument[] = [
  {
    name: 'newtonian f/4, corrected',
    rig: {
      focalLengthMm: 800,
      focalRatio: 4,
      obstruction: 0.3,
      pixelSizeUm: 5.2,
      widthPx: 1500,
      heightPx: 1000,
    },
    coma: 0.04,
    astigmatism: 0.06,
    curvatureRadiusMm: 0,
  },
  {
    name: 'refractor f/6',
    rig: {
      focalLengthMm: 450,
      focalRatio: 6,
      obstruction: 0,
      pixelSizeUm: 3.8,
      widthPx: 1600,
      heightPx: 1100,
    },
    coma: 0.03,
    astigmatism: 0.05,
    curvatureRadiusMm: 0,
  },
  {
    name: 'newtonian f/4.5, small sensor',
    rig: {
      focalLengthMm: 585,
      focalRatio: 4.5,
      obstruction: 0.33,
      pixelSizeUm: 3.1,
      widthPx: 1400,
      heightPx: 1000,
    },
    coma: 0.05,
    astigmatism: 0.08,
    curvatureRadiusMm: 585,
  },
  {
    name: 'refractor f/6, large pixels',
    rig: {
      focalLengthMm: 430,
      focalRatio: 6,
      obstruction: 0,
      pixelSizeUm: 7.4,
      widthPx: 1400,
      heightPx: 950,
    },
    coma: 0.03,
    astigmatism: 0.05,
    curvatureRadiusMm: 0,
  },
  {
    name: 'newtonian f/5, mosaic',
    rig: {
      focalLengthMm: 650,
      focalRatio: 5,
      obstruction: 0.28,
      pixelSizeUm: 3.8,
      widthPx: 1600,
      heightPx: 1100,
      mosaic: 'RGGB',
    },
    coma: 0.05,
    astigmatism: 0.06,
    curvatureRadiusMm: 0,
  },
];

export interface DrawnField {
  kind: Kind;
  instrument: string;
  scene: Scene;
}

/** One field with one dominant fault, decided by its seed. `stars`: how many are drawn. */
export function drawField(kind: Kind, seed: number, stars?: number): DrawnField {
  const random = createRandom(seed * 7919 + 13);
  const between = (low: number, high: number) => low + (high - low) * random.uniform();
  const either = () => (random.uniform() < 0.5 ? -1 : 1);
  let instrument = INSTRUMENTS[random.integer(INSTRUMENTS.length)];
  if (kind === 'dispersion') instrument = INSTRUMENTS.at(-1)!;
  if (kind === 'coma' && random.uniform() < 0.8) instrument = INSTRUMENTS[[0, 2, 4][random.integer(3)]];
  const base = makeScene({ rig: instrument.rig });
  const { rig } = base;
  const F = rig.focalRatio;
  const px = rig.pixelSizeUm;
  const cornerMm = (Math.hypot(rig.widthPx, rig.heightPx) / 2) * (px / 1000);
  const direction = (length: number): Vector => {
    const angle = 2 * Math.PI * random.uniform();
    return { x: length * Math.cos(angle), y: length * Math.sin(angle) };
  };
  const seeingPx = between(1.1, 2.8);
  const perArcsec = umPerArcsec(rig) / px;
  const seeingArcsec = Math.min(3.4, Math.max(1.5, seeingPx / perArcsec));
  const sigmaPx = (seeingArcsec * perArcsec) / 2.35;
  /** An edge radius of defocus (pixels) whose variance is `times` that of the seeing. */
  const defocusPx = (times: number) => sigmaPx * Math.sqrt((4 * times) / (1 + rig.obstruction ** 2));
  const optics = {
    focusUm: between(-0.25, 0.25) * defocusPx(1) * 2 * F * px,
    tiltUmPerMm: { x: 0, y: 0 },
    curvatureRadiusMm: instrument.curvatureRadiusMm,
    axisMm: { x: 0, y: 0 },
    comaStrength: instrument.coma,
    comaConstantUm: { x: 0, y: 0 },
    astigmatismStrength: instrument.astigmatism,
    astigmatismUm: { cos: 0, sin: 0 },
    trefoilUm: { cos: 0, sin: 0 },
    sphericalUm: 0,
  };
  // A curved focal surface that is small against the depth of focus of this sensor stays; a large one is the fault.
  const sagPx = optics.curvatureRadiusMm
    ? (1000 * cornerMm ** 2) / (2 * optics.curvatureRadiusMm) / (2 * F * px)
    : 0;
  if (sagPx > 0.5 * defocusPx(1) && kind !== 'curvature') optics.curvatureRadiusMm = 0;
  const motion: Movement[] = [];
  let seeing = seeingArcsec;
  let dispersionArcsec = between(0, 0.3);
  const strength = between(1, 4);
  switch (kind) {
    case 'clean':
      break;
    case 'focus':
      optics.focusUm = either() * defocusPx(strength) * 2 * F * px;
      break;
    case 'tilt':
      optics.tiltUmPerMm = direction((defocusPx(strength) * 1.25 * 2 * F * px) / cornerMm);
      break;
    case 'curvature': {
      const sagUm = defocusPx(strength) * 2 * F * px;
      optics.curvatureRadiusMm = (either() * (1000 * cornerMm ** 2)) / (2 * sagUm);
      optics.focusUm = (optics.curvatureRadiusMm > 0 ? 1 : -1) * between(0, 0.4) * sagUm;
      break;
    }
    case 'coma':
      optics.comaStrength = between(0.8, 1.1);
      optics.astigmatismStrength = 1;
      break;
    case 'collimation': {
      const wanted = (sigmaPx * Math.sqrt(strength)) / 0.4;
      optics.comaConstantUm = direction((wanted * px) / (2 * F));
      break;
    }
    case 'astigmatism': {
      const a = direction((defocusPx(strength) * px) / (4 * F));
      optics.astigmatismUm = { cos: a.x, sin: a.y };
      optics.focusUm = between(-0.6, 0.6) * defocusPx(strength) * 2 * F * px;
      break;
    }
    case 'pinching': {
      const t = direction((((sigmaPx * Math.sqrt(2 * strength)) / Math.sqrt(0.37)) * px) / (6 * F));
      optics.trefoilUm = { cos: t.x, sin: t.y };
      break;
    }
    case 'drift':
      motion.push({ kind: 'drift', vectorUm: direction(sigmaPx * Math.sqrt(24 * strength) * px) });
      break;
    case 'periodic':
      motion.push({
        kind: 'periodic',
        amplitudeUm: direction(sigmaPx * Math.sqrt(4 * strength) * px),
        cycles: between(0.5, 1.1),
        phaseRad: between(0, 6.28),
      });
      break;
    case 'jump': {
      const q = between(0.12, 0.5);
      motion.push({
        kind: 'jump',
        vectorUm: direction(sigmaPx * Math.sqrt((2 * strength) / (q * (1 - q))) * px),
        atFraction: random.uniform() < 0.5 ? q : 1 - q,
      });
      break;
    }
    case 'rotation': {
      const centreMm = { x: between(-0.6, 0.6) * cornerMm, y: between(-0.6, 0.6) * cornerMm };
      const reachUm = sigmaPx * Math.sqrt(24 * strength) * px;
      motion.push({ kind: 'rotation', angleDeg: ((reachUm / 1000 / cornerMm) * 180) / Math.PI, centreMm });
      break;
    }
    case 'dispersion':
      dispersionArcsec = (sigmaPx * Math.sqrt(12 * strength)) / perArcsec / 1.0;
      break;
    case 'seeing':
      seeing = seeingArcsec * between(1.7, 2.5);
      break;
  }
  const count = stars ?? Math.round(Math.exp(between(Math.log(60), Math.log(400))));
  return {
    kind,
    instrument: instrument.name,
    scene: makeScene({
      rig: instrument.rig,
      spectrum: LIGHT,
      optics,
      motion,
      sky: {
        seeingArcsec: seeing,
        dispersion: { lengthArcsec: dispersionArcsec, angleDeg: between(-90, 90) },
        skyElectronsPerPx: between(30, 150),
        gradient: { x: between(-0.1, 0.1), y: between(-0.1, 0.1) },
      },
      stars: { count, faintestElectrons: 2500, brightestElectrons: 400_000, slope: 0.4 },
      disturbances: { hotPixels: 300, cosmicRays: 4, galaxies: random.integer(4), satellite: false },
      seed,
    }),
  };
}
