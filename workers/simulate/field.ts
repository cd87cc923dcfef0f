import { createRandom, type Random } from './random.ts';
import type { Scene, SceneStar } from './scene.ts';

/** A galaxy: an exponential disc. */
export interface Galaxy {
  xPx: number;
  yPx: number;
  fluxElectrons: number;
  /** Holds half of the light (of the face-on disc). */
  effectiveRadiusPx: number;
  axisRatio: number;
  angleDeg: number;
}

export interface Trail {
  fromPx: [number, number];
  toPx: [number, number];
  electronsPerPx: number;
}

/** Draws of different kinds come from different sequences, so that one more hot pixel leaves the stars in place. */
export const randomFor = (scene: Scene, purpose: 'stars' | 'junk' | 'noise'): Random =>
  createRandom(scene.seed * 4 + ['stars', 'junk', 'noise'].indexOf(purpose));

/** The scene's stars: as listed, or drawn at random over the frame, faint ones more often, with a touch of colour. */
export function drawStars({ stars, ...scene }: Scene): SceneStar[] {
  if (Array.isArray(stars)) return stars;
  const random = randomFor({ stars, ...scene }, 'stars');
  const { widthPx, heightPx } = scene.rig;
  const floor = (stars.faintestElectrons / stars.brightestElectrons) ** stars.slope;
  return Array.from({ length: stars.count }, () => ({
    xPx: random.uniform() * widthPx - 0.5,
    yPx: random.uniform() * heightPx - 0.5,
    // Inverse of the part of stars brighter than F, (F^-s - Fmax^-s) / (Fmin^-s - Fmax^-s).
    fluxElectrons: stars.faintestElectrons * (1 - random.uniform() * (1 - floor)) ** (-1 / stars.slope),
    colour: Math.max(-1, Math.min(1, 0.4 * random.normal())),
  }));
}

export function drawGalaxies(scene: Scene, random: Random): Galaxy[] {
  const { widthPx, heightPx, pixelSizeUm } = scene.rig;
  const margin = 0.08;
  return Array.from({ length: scene.disturbances.galaxies }, () => ({
    xPx: widthPx * (margin + (1 - 2 * margin) * random.uniform()),
    yPx: heightPx * (margin + (1 - 2 * margin) * random.uniform()),
    fluxElectrons: 2e4 * 10 ** random.uniform(),
    effectiveRadiusPx: (20 + 35 * random.uniform()) / pixelSizeUm,
    axisRatio: 0.35 + 0.65 * random.uniform(),
    angleDeg: 180 * random.uniform(),
  }));
}

/** A satellite's line from one border to the opposite one. */
export function drawTrail(scene: Scene, random: Random): Trail {
  const { widthPx, heightPx } = scene.rig;
  return {
    fromPx: [-20, heightPx * random.uniform()],
    toPx: [widthPx + 20, heightPx * random.uniform()],
    electronsPerPx: 300 + 900 * random.uniform(),
  };
}

/** Hot pixels (dark charge) and cosmic rays (short tracks that know nothing of the optics), added to the expectation. */
export function addJunk(electrons: Float64Array, scene: Scene, random: Random): void {
  const { widthPx, heightPx, fullWellElectrons } = scene.rig;
  for (let n = 0; n < scene.disturbances.hotPixels; n++) {
    const charge = 150 * (fullWellElectrons / 150) ** (random.uniform() ** 2);
    electrons[random.integer(widthPx * heightPx)] += charge;
  }
  for (let n = 0; n < scene.disturbances.cosmicRays; n++) {
    const angle = Math.PI * random.uniform();
    const length = 1 + 14 * random.uniform() ** 3;
    const perPx = 300 + 1500 * random.uniform();
    const x0 = widthPx * random.uniform();
    const y0 = heightPx * random.uniform();
    for (let s = 0; s < length; s += 0.1) {
      const x = Math.round(x0 + s * Math.cos(angle));
      const y = Math.round(y0 + s * Math.sin(angle));
      if (x >= 0 && y >= 0 && x < widthPx && y < heightPx) electrons[y * widthPx + x] += 0.1 * perPx;
    }
  }
}
