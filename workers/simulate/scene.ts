import type { MosaicName } from './mosaic.ts';

/**
 * All that is needed to draw one exposure of a star field. Plain data; lengths carry their unit in the name.
 * Positions in pixels are 0-based with integer centres, x right, y along the stored rows; positions in millimetres are
 * measured on the sensor from its centre ((w - 1) / 2, (h - 1) / 2). Angles run from +x towards +y.
 */
export interface Scene {
  rig: SceneRig;
  /** At least three samples of the light, each with its share of every channel and its own focus. */
  spectrum: SpectralSample[];
  optics: Optics;
  sky: Sky;
  /** What moved during the exposure; the displacements add. Empty = nothing. */
  motion: Movement[];
  stars: StarLaw | SceneStar[];
  disturbances: Disturbances;
  exposureS: number;
  /** Decides stars, noise and disturbances alike. */
  seed: number;
}

export interface Vector {
  x: number;
  y: number;
}

/** Telescope and camera. */
export interface SceneRig {
  focalLengthMm: number;
  focalRatio: number;
  /** Linear central obstruction, 0 to 1. */
  obstruction: number;
  /** Arms that hold the secondary: straight from the axis outwards, the first at `angleDeg`, evenly spread. */
  vanes: { count: number; widthFraction: number; angleDeg: number } | null;
  pixelSizeUm: number;
  widthPx: number;
  heightPx: number;
  mosaic: MosaicName | null;
  /** Depth of the converter; its steps are spread over 16 bit. */
  bits: number;
  /** Electrons per ADU of the 16-bit file. */
  gainElectronsPerAdu: number;
  fullWellElectrons: number;
  /** Whether charge above the full well runs along the column instead of being lost. */
  bleeds: boolean;
  readNoiseElectrons: number;
  offsetAdu: number;
  /** Part of the light that is lost in the corners, growing with the square of the distance from the centre. */
  vignetting: number;
}

/**
 * Light of one wavelength. The four shares say how much of a star's flux a channel takes from it; they sum to 1 for
 * `mono`, and to the filter's throughput for the colours.
 */
export interface SpectralSample {
  wavelengthUm: number;
  /** Added to the focus: positive = this colour comes to focus closer to the optics. */
  focusShiftUm: number;
  mono: number;
  R: number;
  G: number;
  B: number;
}

/**
 * Wavefront over the field, W in micrometres of path, pupil coordinates (u, v) with the edge at 1:
 *   defocus     z / (8 F^2) rho^2, z = focus + tilt . (x, y) - r^2 / (2 curvatureRadius)
 *   coma        (C . (u, v)) (rho^2 - 2/3), C = comaStrength h / (32 F^3) + comaConstant; the tail points along C
 *   astigmatism A0 (u^2 - v^2) + 2 A45 u v, A = astigmatismStrength h^2 / (16 F^2 f) along the field angle + constant
 *   trefoil     T0 (u^3 - 3 u v^2) + T1 (3 u^2 v - v^3)
 *   spherical   S (6 rho^4 - 6 rho^2)
 * r and h are measured from `axisMm`. A ray lands at 2F grad W from the star's place. The term -2/3 of coma takes out
 * the mean tilt over an open circle, so that the star's place is near its light; the bright tip of the spot, where the
 * ray through the middle of the pupil lands, lies at -4/3 F C from it.
 */
export interface Optics {
  /** Position of the sensor's centre: positive = behind the focal surface, farther from the optics. */
  focusUm: number;
  tiltUmPerMm: Vector;
  /** Radius of the focal surface; 0 = flat. */
  curvatureRadiusMm: number;
  /** Where the optical axis meets the sensor. */
  axisMm: Vector;
  /** 1 = a bare paraboloid of this focal ratio. */
  comaStrength: number;
  comaConstantUm: Vector;
  /** 1 = a bare paraboloid with the stop at the mirror. */
  astigmatismStrength: number;
  astigmatismUm: { cos: number; sin: number };
  trefoilUm: { cos: number; sin: number };
  sphericalUm: number;
}

export interface Sky {
  /** Kolmogorov full width at half maximum at 0.55 um, growing as wavelength^-0.2; 0 = no air. */
  seeingArcsec: number;
  /** Outer scale of the turbulence; null = infinite. `seeingArcsec` then stays that of the infinite outer scale. */
  outerScaleM: number | null;
  /** Gaussian shake, rms per axis. */
  jitterArcsec: number;
  /** Light scattered wide: part of the flux, and scale w of its profile (1 + (r / w)^2)^(-3/2); null = none. */
  aureole: { fraction: number; widthArcsec: number } | null;
  /** Displacement of 0.65 um with respect to 0.45 um; the other colours follow the refraction of air. */
  dispersion: { lengthArcsec: number; angleDeg: number };
  /** Mean over the frame's middle, before the filters of a mosaic. */
  skyElectronsPerPx: number;
  /** Relative rise of the sky from the centre to the right edge (x) and to the last row (y). */
  gradient: Vector;
}

/** Displacement of the stars' image on the sensor during the exposure; its mean over time does not shift the star. */
export type Movement =
  | { kind: 'drift'; vectorUm: Vector }
  /** Moves at once by the vector when this part of the exposure is over. */
  | { kind: 'jump'; vectorUm: Vector; atFraction: number }
  /** amplitude sin(2 pi cycles (t - 1/2) + phase), t from 0 to 1: the phase is that of the middle; half of peak to peak. */
  | { kind: 'periodic'; amplitudeUm: Vector; cycles: number; phaseRad: number }
  /** Straight pieces of equal duration from node to node. */
  | { kind: 'path'; nodesUm: Vector[] }
  /** The field turns evenly by this angle in all about a point of the sensor's plane. */
  | { kind: 'rotation'; angleDeg: number; centreMm: Vector };

/** A star whose light in electrons is that which an unfiltered sensor would collect without vignetting. */
export interface SceneStar {
  xPx: number;
  yPx: number;
  fluxElectrons: number;
  /** -1 (blue) ... 1 (red): the red channel takes 2^(colour / 2) of its share, the blue one 2^(-colour / 2). */
  colour?: number;
}

/** Stars at random places; the number brighter than F falls as F^-slope between faintest and brightest. */
export interface StarLaw {
  count: number;
  faintestElectrons: number;
  brightestElectrons: number;
  slope: number;
}

export interface Disturbances {
  hotPixels: number;
  cosmicRays: number;
  galaxies: number;
  satellite: boolean;
}

/** Visible light in five samples; the colours are like those of dyed filters: R 0.8, G 1, B 0.75 of the light of mono. */
export const VISIBLE_LIGHT: SpectralSample[] = [
  { wavelengthUm: 0.45, focusShiftUm: 0, mono: 0.18, R: 0, G: 0.04, B: 0.45 },
  { wavelengthUm: 0.5, focusShiftUm: 0, mono: 0.22, R: 0, G: 0.36, B: 0.26 },
  { wavelengthUm: 0.55, focusShiftUm: 0, mono: 0.23, R: 0.04, G: 0.48, B: 0.04 },
  { wavelengthUm: 0.6, focusShiftUm: 0, mono: 0.2, R: 0.42, G: 0.12, B: 0 },
  { wavelengthUm: 0.65, focusShiftUm: 0, mono: 0.17, R: 0.34, G: 0, B: 0 },
];

/** Perfect optics without central obstruction, in still air of 2 arcsec, well guided: what a scene is built from. */
const PERFECT: Scene = {
  rig: {
    focalLengthMm: 600,
    focalRatio: 5,
    obstruction: 0,
    vanes: null,
    pixelSizeUm: 3.8,
    widthPx: 1200,
    heightPx: 800,
    mosaic: null,
    bits: 16,
    gainElectronsPerAdu: 0.8,
    fullWellElectrons: 50_000,
    bleeds: false,
    readNoiseElectrons: 1.5,
    offsetAdu: 800,
    vignetting: 0,
  },
  spectrum: VISIBLE_LIGHT,
  optics: {
    focusUm: 0,
    tiltUmPerMm: { x: 0, y: 0 },
    curvatureRadiusMm: 0,
    axisMm: { x: 0, y: 0 },
    comaStrength: 0,
    comaConstantUm: { x: 0, y: 0 },
    astigmatismStrength: 0,
    astigmatismUm: { cos: 0, sin: 0 },
    trefoilUm: { cos: 0, sin: 0 },
    sphericalUm: 0,
  },
  sky: {
    seeingArcsec: 2,
    outerScaleM: null,
    jitterArcsec: 0,
    aureole: null,
    dispersion: { lengthArcsec: 0, angleDeg: 0 },
    skyElectronsPerPx: 60,
    gradient: { x: 0, y: 0 },
  },
  motion: [],
  stars: { count: 150, faintestElectrons: 1500, brightestElectrons: 400_000, slope: 0.4 },
  disturbances: { hotPixels: 0, cosmicRays: 0, galaxies: 0, satellite: false },
  exposureS: 10,
  seed: 1,
};

/** What a scene says differently from the perfect one; parts that it does not name stay as they are there. */
export type SceneChanges = {
  [Part in keyof Scene]?: Scene[Part] extends unknown[] ? Scene[Part] : Partial<Scene[Part]>;
};

export function makeScene(changes: SceneChanges = {}, from: Scene = PERFECT): Scene {
  return {
    rig: { ...from.rig, ...changes.rig },
    spectrum: changes.spectrum ?? from.spectrum,
    optics: { ...from.optics, ...changes.optics },
    sky: { ...from.sky, ...changes.sky },
    motion: changes.motion ?? from.motion,
    stars: (changes.stars as Scene['stars'] | undefined) ?? from.stars,
    disturbances: { ...from.disturbances, ...changes.disturbances },
    exposureS: changes.exposureS ?? from.exposureS,
    seed: changes.seed ?? from.seed,
  };
}

/** Position on the sensor in millimetres from its centre. */
export const toFieldMm = (rig: SceneRig, xPx: number, yPx: number): Vector => ({
  x: ((xPx - (rig.widthPx - 1) / 2) * rig.pixelSizeUm) / 1000,
  y: ((yPx - (rig.heightPx - 1) / 2) * rig.pixelSizeUm) / 1000,
});

/** Micrometres on the sensor for an arc second on the sky. */
export const umPerArcsec = (rig: SceneRig): number => (rig.focalLengthMm * 1000) / 206264.806;
