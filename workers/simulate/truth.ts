import { dispersionUm } from './atmosphere.ts';
import type { Channel } from './mosaic.ts';
import { pathMoments, starPath } from './motion.ts';
import { createRenderer } from './render.ts';
import { makeScene, toFieldMm, type Optics, type Scene, type SceneChanges, type Vector } from './scene.ts';
import { rayUm, wavefrontAtField } from './wavefront.ts';
import { halfPeakFwhmPx, type Grid } from './widths.ts';

/** Second moments of a spot about its centroid, in square micrometres. */
export interface Moments {
  xx: number;
  yy: number;
  xy: number;
}

export type Place = 'centre' | 'c0r0' | 'c1r0' | 'c0r1' | 'c1r1';

/** Geometric second moments of each cause alone, as if everything else were perfect; seeing and diffraction apart. */
export interface CauseMoments {
  /** All of the wavefront together: its parts do not simply add. */
  optics: Moments;
  focus: Moments;
  tilt: Moments;
  curvature: Moments;
  /** Focus, tilt and curvature together, as the star's place sees them. */
  focusAndShape: Moments;
  /** Coma that grows with the distance from the axis, the axis displaced as it is. */
  fieldComa: Moments;
  /** Coma that is the same everywhere. */
  constantComa: Moments;
  coma: Moments;
  astigmatism: Moments;
  trefoil: Moments;
  spherical: Moments;
  /** Tracking: all movements but rotation. */
  motion: Moments;
  rotation: Moments;
  dispersion: Moments;
}

export interface SceneTruth {
  /** Width through the pixel of the noise-free star (green channel over a mosaic); see `halfPeakFwhmPx`. */
  fwhmPx: Record<Place, number>;
  momentsUm2: Record<Place, CauseMoments>;
}

/** What a perfect measurement of the scene would find, at the centre of the sensor and of its corner pixels. */
export function truthOf(scene: Scene): SceneTruth {
  const { widthPx, heightPx } = scene.rig;
  const places: Record<Place, [number, number]> = {
    centre: [(widthPx - 1) / 2, (heightPx - 1) / 2],
    c0r0: [0, 0],
    c1r0: [widthPx - 1, 0],
    c0r1: [0, heightPx - 1],
    c1r1: [widthPx - 1, heightPx - 1],
  };
  const each = <T>(value: (xPx: number, yPx: number) => T) =>
    Object.fromEntries(Object.entries(places).map(([place, [x, y]]) => [place, value(x, y)])) as Record<
      Place,
      T
    >;
  return {
    fwhmPx: each((x, y) => fwhmAt(scene, x, y)),
    momentsUm2: each((x, y) => causeMoments(scene, toFieldMm(scene.rig, x, y))),
  };
}

/** Width at one place, from the noise-free star on a grid of at least 20 samples per width. */
export function fwhmAt(
  scene: Scene,
  xPx: number,
  yPx: number,
  channel: Channel = scene.rig.mosaic ? 'G' : 'mono',
): number {
  const renderer = createRenderer(scene);
  const half = 120;
  const gridOf = (reachPx: number): Grid => {
    const offsets = Float64Array.from({ length: 2 * half + 1 }, (_, i) => ((i - half) * reachPx) / half);
    const [values] = renderer.picture(xPx, yPx, offsets, offsets, { channels: [channel] });
    return { values, side: 2 * half + 1, stepPx: reachPx / half };
  };
  // First look over all of the spot, then closer in on what is above half of the peak.
  const wide = gridOf(renderer.reachPx(xPx, yPx, 1, 0.01));
  const level = Math.max(...wide.values) / 2;
  let extent = 0;
  wide.values.forEach((value, i) => {
    const dx = Math.abs((i % wide.side) - half);
    const dy = Math.abs(Math.floor(i / wide.side) - half);
    if (value > level) extent = Math.max(extent, dx, dy);
  });
  return halfPeakFwhmPx(gridOf(Math.max(1.5, (extent + 2) * wide.stepPx * 1.1)));
}

export function causeMoments(scene: Scene, at: Vector): CauseMoments {
  const { optics, rig, sky, motion, spectrum } = scene;
  const none = makeScene().optics;
  const only = (changes: Partial<Optics>) =>
    spotMoments(makeScene({ rig, optics: { ...none, ...changes } } as SceneChanges), at);
  const { axisMm, focusUm, tiltUmPerMm, curvatureRadiusMm, comaStrength, comaConstantUm } = optics;
  const { astigmatismStrength, astigmatismUm, trefoilUm, sphericalUm } = optics;
  const path = (rotation: boolean) =>
    pathMoments(
      starPath(
        motion.filter((movement) => (movement.kind === 'rotation') === rotation),
        at,
      ),
    );
  return {
    optics: only(optics),
    focus: only({ focusUm }),
    tilt: only({ tiltUmPerMm }),
    curvature: only({ curvatureRadiusMm, axisMm }),
    focusAndShape: only({ focusUm, tiltUmPerMm, curvatureRadiusMm, axisMm }),
    fieldComa: only({ comaStrength, axisMm }),
    constantComa: only({ comaConstantUm }),
    coma: only({ comaStrength, comaConstantUm, axisMm }),
    astigmatism: only({ astigmatismStrength, astigmatismUm, axisMm }),
    trefoil: only({ trefoilUm }),
    spherical: only({ sphericalUm }),
    motion: path(false),
    rotation: path(true),
    dispersion: weightedMoments(
      spectrum.map(({ wavelengthUm, mono }) => ({ at: dispersionUm(sky, rig, wavelengthUm), weight: mono })),
    ),
  };
}

/**
 * Moments of the rays through the annulus. The moments are integrals of polynomials of degree 6 in rho and of
 * harmonics up to 6 in angle: eight Gauss nodes in rho^2 and sixteen angles are exact.
 */
export function spotMoments(scene: Scene, at: Vector): Moments {
  const { rig, optics } = scene;
  const wavefront = wavefrontAtField(optics, rig, at);
  const inner = rig.obstruction ** 2;
  const rays = GAUSS_8.flatMap(({ node, weight }) => {
    const rho = Math.sqrt(inner + ((1 - inner) * (node + 1)) / 2);
    return Array.from({ length: 16 }, (_, k) => {
      const angle = (2 * Math.PI * k) / 16;
      return { at: rayUm(wavefront, rig.focalRatio, rho * Math.cos(angle), rho * Math.sin(angle)), weight };
    });
  });
  return weightedMoments(rays);
}

function weightedMoments(points: { at: Vector; weight: number }[]): Moments {
  let [s, sx, sy] = [0, 0, 0];
  for (const { at, weight } of points) {
    s += weight;
    sx += weight * at.x;
    sy += weight * at.y;
  }
  const m = { xx: 0, yy: 0, xy: 0 };
  for (const { at, weight } of points) {
    const dx = at.x - sx / s;
    const dy = at.y - sy / s;
    m.xx += (weight / s) * dx * dx;
    m.yy += (weight / s) * dy * dy;
    m.xy += (weight / s) * dx * dy;
  }
  return m;
}

const GAUSS_8 = [
  [0.1834346424956498, 0.362683783378362],
  [0.525532409916329, 0.3137066458778873],
  [0.7966664774136267, 0.2223810344533745],
  [0.9602898564975363, 0.1012285362903763],
].flatMap(([node, weight]) => [
  { node, weight },
  { node: -node, weight },
]);
