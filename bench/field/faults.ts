import type { Random } from '../../workers/simulate/random.ts';
import type { Movement, Optics, Vector } from '../../workers/simulate/scene.ts';

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

/** What a fault is measured by, and what it changes. */
export interface Workpiece {
  random: Random;
  optics: Optics;
  motion: Movement[];
  seeingArcsec: number;
  dispersionArcsec: number;
  /** Per-axis sigma of the seeing, sensor's half-diagonal, pixel, focal ratio, obstruction, scale. */
  sigmaPx: number;
  cornerMm: number;
  pixelUm: number;
  focalRatio: number;
  obstruction: number;
  pxPerArcsec: number;
}

/** Adds a fault whose mean corner variance is about `strength` times that of the seeing. */
export function addFault(kind: Kind, strength: number, work: Workpiece): void {
  const { random, optics, motion, sigmaPx, cornerMm, pixelUm, focalRatio } = work;
  const between = (low: number, high: number) => low + (high - low) * random.uniform();
  const either = () => (random.uniform() < 0.5 ? -1 : 1);
  const direction = (length: number): Vector => {
    const angle = 2 * Math.PI * random.uniform();
    return { x: length * Math.cos(angle), y: length * Math.sin(angle) };
  };
  const edgePx = sigmaPx * Math.sqrt((4 * strength) / (1 + work.obstruction ** 2));
  const defocusUm = edgePx * 2 * focalRatio * pixelUm;
  switch (kind) {
    case 'clean':
      return;
    case 'focus':
      optics.focusUm = either() * defocusUm;
      return;
    case 'tilt':
      optics.tiltUmPerMm = direction((1.25 * defocusUm) / cornerMm);
      return;
    case 'curvature':
      optics.curvatureRadiusMm = (either() * 1000 * cornerMm ** 2) / (2 * defocusUm);
      optics.focusUm = Math.sign(optics.curvatureRadiusMm) * between(0, 0.4) * defocusUm;
      return;
    case 'coma':
      optics.comaStrength = between(0.8, 1.1);
      optics.astigmatismStrength = 1;
      return;
    case 'collimation':
      optics.comaConstantUm = direction(
        (((sigmaPx * Math.sqrt(strength)) / 0.4) * pixelUm) / (2 * focalRatio),
      );
      return;
    case 'astigmatism': {
      const a = direction((edgePx * pixelUm) / (4 * focalRatio));
      optics.astigmatismUm = { cos: a.x, sin: a.y };
      if (Math.abs(optics.focusUm) < 0.6 * defocusUm) optics.focusUm = between(-0.6, 0.6) * defocusUm;
      return;
    }
    case 'pinching': {
      const t = direction(
        (((sigmaPx * Math.sqrt(2 * strength)) / Math.sqrt(0.37)) * pixelUm) / (6 * focalRatio),
      );
      optics.trefoilUm = { cos: t.x, sin: t.y };
      return;
    }
    case 'drift':
      motion.push({ kind: 'drift', vectorUm: direction(sigmaPx * Math.sqrt(24 * strength) * pixelUm) });
      return;
    case 'periodic':
      motion.push({
        kind: 'periodic',
        amplitudeUm: direction(sigmaPx * Math.sqrt(4 * strength) * pixelUm),
        cycles: between(0.5, 1.1),
        phaseRad: between(0, 6.28),
      });
      return;
    case 'jump': {
      const q = between(0.12, 0.5);
      motion.push({
        kind: 'jump',
        vectorUm: direction(sigmaPx * Math.sqrt((2 * strength) / (q * (1 - q))) * pixelUm),
        atFraction: random.uniform() < 0.5 ? q : 1 - q,
      });
      return;
    }
    case 'rotation': {
      const centreMm = { x: between(-0.6, 0.6) * cornerMm, y: between(-0.6, 0.6) * cornerMm };
      const reachMm = (sigmaPx * Math.sqrt(24 * strength) * pixelUm) / 1000;
      motion.push({ kind: 'rotation', angleDeg: ((reachMm / cornerMm) * 180) / Math.PI, centreMm });
      return;
    }
    case 'dispersion':
      work.dispersionArcsec = (sigmaPx * Math.sqrt(12 * strength)) / work.pxPerArcsec;
      return;
    case 'seeing':
      work.seeingArcsec *= between(1.7, 2.5);
      return;
  }
}
