import { fwhmOfTransfer } from '../../workers/math/transfer-width.ts';
import type { Cause } from '../../workers/protocol/report.ts';
import { dispersionUm, roundTransfer } from '../../workers/simulate/atmosphere.ts';
import { toFieldMm } from '../../workers/simulate/scene.ts';
import type { Scene } from '../../workers/simulate/scene.ts';
import { causeMoments } from '../../workers/simulate/truth.ts';
import type { Moments } from '../../workers/simulate/truth.ts';
import { KINDS } from './faults.ts';
import type { DrawnField } from './scenes.ts';

/** Causes as both the truth and the budget know them, rotation and drift together, coma and collimation too. */
export const SHARE_KEYS = ['defocus', 'coma', 'astigmatism', 'pinching', 'motion', 'dispersion'] as const;
export type ShareKey = (typeof SHARE_KEYS)[number];
export type DefocusPart = 'focus' | 'tilt' | 'curvature';

/** What a perfect analysis of a frame would print. Null where the frame has no such thing. */
export interface FieldTruth {
  name: string;
  causes: Cause[];
  stars: number;
  focalLengthMm: number;
  focalRatio: number;
  obstruction: number;
  /** What the user says is usual at the site; null = not told. */
  usualSeeingArcsec: number | null;
  pixelUm: number;
  /** Mean over the corners of each cause's variance, px^2 per axis. */
  cornerVariance: Record<ShareKey, number>;
  /** The same for the parts of the defocus, which a truth file from the outside does not tell apart. */
  defocusParts: Record<DefocusPart, number> | null;
  focusUm: number;
  tiltUmPerMm: { x: number; y: number };
  curvaturePerM: number;
  comaConstantUm: { x: number; y: number };
  comaStrength: number;
  comaCentreMm: { x: number; y: number } | null;
  astigmatismUm: { cos: number; sin: number };
  trefoilUm: { cos: number; sin: number };
  motion: { lengthPx: number; angleDeg: number } | null;
  rotation: { angleDeg: number; centreMm: { x: number; y: number } } | null;
  roundBlurPx: number;
}

const half = ({ xx, yy }: Moments) => (xx + yy) / 2;

/** Truth of a field that the project's own simulator drew. */
export function ownTruth(
  { kinds, scene, toldObstruction, usualSeeingArcsec }: DrawnField,
  name: string,
): FieldTruth {
  const { rig, optics, motion } = scene;
  const px2 = rig.pixelSizeUm ** 2;
  const corners = cornersOf(scene).map((at) => causeMoments(scene, at));
  const mean = (value: (corner: (typeof corners)[number]) => number) =>
    corners.reduce((sum, corner) => sum + value(corner), 0) / corners.length / px2;
  const drift = motion.find((movement) => movement.kind === 'drift' || movement.kind === 'jump');
  const swing = motion.find((movement) => movement.kind === 'periodic');
  const turn = motion.find((movement) => movement.kind === 'rotation');
  const vector =
    drift && 'vectorUm' in drift
      ? drift.vectorUm
      : swing && 'amplitudeUm' in swing
        ? swing.amplitudeUm
        : null;
  const extent = swing && 'cycles' in swing ? extentOf(swing.cycles, swing.phaseRad) : 1;
  const comaUnit = 1000 / (32 * rig.focalRatio ** 3);
  return {
    name,
    causes: kinds.map((kind) => KINDS[kind]),
    stars: Array.isArray(scene.stars) ? scene.stars.length : scene.stars.count,
    focalLengthMm: rig.focalLengthMm,
    focalRatio: rig.focalRatio,
    obstruction: toldObstruction,
    usualSeeingArcsec,
    pixelUm: rig.pixelSizeUm,
    cornerVariance: {
      defocus: mean((c) => half(c.focusAndShape)),
      coma: mean((c) => half(c.coma)),
      astigmatism: mean((c) => half(c.astigmatism)),
      pinching: mean((c) => half(c.trefoil)),
      motion: mean((c) => half(c.motion) + half(c.rotation)),
      dispersion: rig.mosaic ? colourVariance(scene) : mean((c) => half(c.dispersion)),
    },
    defocusParts: {
      focus: mean((c) => half(c.focus)),
      tilt: mean((c) => half(c.tilt)),
      curvature: mean((c) => half(c.curvature)),
    },
    focusUm: optics.focusUm,
    tiltUmPerMm: optics.tiltUmPerMm,
    curvaturePerM: optics.curvatureRadiusMm ? 1000 / optics.curvatureRadiusMm : 0,
    comaConstantUm: optics.comaConstantUm,
    comaStrength: optics.comaStrength,
    comaCentreMm: {
      x: -optics.comaConstantUm.x / (comaUnit * optics.comaStrength),
      y: -optics.comaConstantUm.y / (comaUnit * optics.comaStrength),
    },
    astigmatismUm: optics.astigmatismUm,
    trefoilUm: optics.trefoilUm,
    motion: vector
      ? {
          lengthPx: (Math.hypot(vector.x, vector.y) * extent) / rig.pixelSizeUm,
          angleDeg: (Math.atan2(vector.y, vector.x) * 180) / Math.PI,
        }
      : null,
    rotation:
      turn && 'centreMm' in turn ? { angleDeg: Math.abs(turn.angleDeg), centreMm: turn.centreMm } : null,
    roundBlurPx: roundBlurPx(scene),
  };
}

/** As the report defines it: red and blue half their shift to either side of green, a third of the light each; px^2. */
function colourVariance({ rig, sky, spectrum }: Scene): number {
  const mean = (channel: 'R' | 'B') => {
    const light = spectrum.reduce((sum, sample) => sum + sample[channel], 0);
    const shifts = spectrum.map((sample) => {
      const { x, y } = dispersionUm(sky, rig, sample.wavelengthUm);
      return [(x * sample[channel]) / light, (y * sample[channel]) / light];
    });
    return [0, 1].map((axis) => shifts.reduce((sum, shift) => sum + shift[axis], 0));
  };
  const [red, blue] = [mean('R'), mean('B')];
  return ((red[0] - blue[0]) ** 2 + (red[1] - blue[1]) ** 2) / 12 / rig.pixelSizeUm ** 2;
}

/** Width of all that blurs the stars round: air with its outer scale, shake, scattered light. */
function roundBlurPx({ sky, rig }: Scene): number {
  const seeingUm = (sky.seeingArcsec * rig.focalLengthMm) / 206.264806;
  return fwhmOfTransfer(roundTransfer(sky, rig, 0.55), 2.2 / seeingUm) / rig.pixelSizeUm;
}

function cornersOf({ rig }: Scene) {
  const { widthPx, heightPx } = rig;
  return [
    [0, 0],
    [widthPx - 1, 0],
    [0, heightPx - 1],
    [widthPx - 1, heightPx - 1],
  ].map(([x, y]) => toFieldMm(rig, x, y));
}

function extentOf(cycles: number, phase: number): number {
  let low = Infinity;
  let high = -Infinity;
  for (let i = 0; i <= 512; i++) {
    const s = Math.sin((2 * Math.PI * cycles * i) / 512 + phase);
    low = Math.min(low, s);
    high = Math.max(high, s);
  }
  return high - low;
}

interface SharedTruth {
  kind: string;
  kinds: string[];
  params: Record<string, number & number[]>;
  stars: unknown[];
  budget: Record<string, Record<string, [number, number, number]>>;
}

const SHARED_CAUSE: Record<string, Cause> = { drift: 'trailing', jump: 'trailing', periodic: 'trailing' };

/** Truth of a frame from the outside, as its .truth.json tells it. */
export function sharedTruth(json: string, name: string): FieldTruth {
  const truth = JSON.parse(json) as SharedTruth;
  const p = truth.params;
  const px2 = p.px_um ** 2;
  const mean = (key: string) =>
    (['ne', 'nw', 'se', 'sw'] as const).reduce((sum, place) => {
      const [xx, yy] = truth.budget[place][key] ?? [0, 0];
      return sum + (xx + yy) / 2;
    }, 0) /
    4 /
    px2;
  const comaUnit = (1000 * p.coma_scale) / (32 * p.F ** 3);
  const drift = [p.drift_um, p.jump_um].find((vector) => Math.hypot(vector[0], vector[1]) > 0);
  const dispersionPx = (p.dispersion_arcsec * p.focal_mm) / 206.264806 / p.px_um;
  return {
    name,
    causes: truth.kinds.map((kind) => SHARED_CAUSE[kind] ?? (kind as Cause)),
    stars: truth.stars.length,
    focalLengthMm: p.focal_mm,
    focalRatio: p.F,
    obstruction: p.obstruction,
    usualSeeingArcsec: null,
    pixelUm: p.px_um,
    cornerVariance: {
      defocus: mean('focus_and_shape'),
      coma: mean('coma'),
      astigmatism: mean('astigmatism'),
      pinching: mean('trefoil'),
      motion: mean('motion'),
      dispersion: dispersionPx ** 2 / 12,
    },
    defocusParts: null,
    focusUm: p.z0_um,
    tiltUmPerMm: { x: p.tilt_x_um_per_mm, y: p.tilt_y_um_per_mm },
    curvaturePerM: p.curvature_radius_mm ? 1000 / p.curvature_radius_mm : 0,
    comaConstantUm: { x: p.coma_const_um[0], y: p.coma_const_um[1] },
    comaStrength: p.coma_scale,
    comaCentreMm: p.coma_scale
      ? {
          x: p.axis_mm[0] - p.coma_const_um[0] / comaUnit,
          y: p.axis_mm[1] - p.coma_const_um[1] / comaUnit,
        }
      : null,
    astigmatismUm: { cos: p.astig_const_um[0], sin: p.astig_const_um[1] },
    trefoilUm: { cos: p.trefoil_um[0], sin: p.trefoil_um[1] },
    motion: drift
      ? {
          lengthPx: Math.hypot(drift[0], drift[1]) / p.px_um,
          angleDeg: (Math.atan2(drift[1], drift[0]) * 180) / Math.PI,
        }
      : null,
    rotation: p.rotation_deg
      ? {
          angleDeg: Math.abs(p.rotation_deg),
          centreMm: { x: p.rotation_centre_mm[0], y: p.rotation_centre_mm[1] },
        }
      : null,
    roundBlurPx: (p.seeing_arcsec * p.focal_mm) / 206.264806 / p.px_um,
  };
}
