import { fitMoments } from './moment-fit.ts';
import type { MomentField } from './moment-fit.ts';
import { solveSymmetric } from '../math/linear.ts';
import { P, PARAMETER_COUNT } from './parameters.ts';
import type { Group, ModelShape } from './parameters.ts';
import { FWHM_PER_SIGMA } from './spot-moments.ts';

/** A place from which the fit of the pixels begins. */
export interface Start {
  theta: Float64Array;
  shape: ModelShape;
  why: string;
  /** Where the path's mean lies from the stars' weighted centroids. */
  shift?: [number, number];
}

/** Field terms of the optics that are free while searching; constant astigmatism stands against motion. */
export const SEARCH_GROUPS: readonly Group[] = [
  'focus',
  'tilt',
  'curvature',
  'comaConstant',
  'comaField',
  'astigmatismField',
  'trefoil',
];

export const STILL: ModelShape = { groups: new Set<Group>([...SEARCH_GROUPS, 'astigmatism']), path: 'none' };
export const MOVING: ModelShape = {
  groups: new Set<Group>([...SEARCH_GROUPS, 'motion', 'rotation']),
  path: 'straight',
};

const median = (values: number[]): number => [...values].sort((a, b) => a - b)[values.length >> 1] ?? NaN;

/** What the moments say at a glance: blur of the sharpest stars, the excess of the rest, the common elongation. */
export function glance(field: MomentField) {
  const stars = Array.from({ length: field.xi.length }, (_, star) => star);
  const traces = stars.map((star) => field.moments[7 * star]).sort((a, b) => a - b);
  const sharp = traces[Math.floor(0.1 * traces.length)];
  const typical = median(traces);
  const qx = median(stars.map((star) => field.moments[7 * star + 1]));
  const qy = median(stars.map((star) => field.moments[7 * star + 2]));
  const blurPx = FWHM_PER_SIGMA * Math.sqrt(Math.max(sharp / 2 - 1 / 12, 0.15));
  return { blurPx, sharp, typical, widest: traces[Math.floor(0.9 * traces.length)], qx, qy };
}

/** Excess spots as sign patterns of defocus over the field; the rest follows from the fit of the moments. */
const PATTERNS: { why: string; z: Partial<Record<'focus' | 'tiltX' | 'tiltY' | 'curvature', number>> }[] = [
  { why: 'nearly in focus', z: { focus: 0.15, tiltX: 0.1, tiltY: 0.07, curvature: 0.1 } },
  { why: 'defocus', z: { focus: 1 } },
  { why: 'bent outwards', z: { curvature: 1.3 } },
  { why: 'bent, middle out of focus', z: { focus: 0.8, curvature: -1.6 } },
  { why: 'tilt along x', z: { tiltX: 1.3, focus: 0.1 } },
  { why: 'tilt along y', z: { tiltY: 1.3, focus: 0.1 } },
  { why: 'tilt along one diagonal', z: { tiltX: 1, tiltY: 1, focus: 0.1 } },
  { why: 'tilt along the other', z: { tiltX: 1, tiltY: -1, focus: 0.1 } },
];

/** Starts from the moments, best first within each of the two modes; `keep` of each. */
export function momentStarts(field: MomentField, obstruction: number, keep: number): Start[] {
  const { blurPx, sharp, widest, qx, qy } = glance(field);
  const excess = Math.sqrt(Math.max(widest - 0.8 * sharp, 0.2 * sharp));
  const elongation = Math.hypot(qx, qy);
  const angle = Math.atan2(qy, qx);
  const starts: Start[] = [];
  for (const shape of [STILL, MOVING]) {
    const found = PATTERNS.map(({ why, z }) => {
      const theta = new Float64Array(PARAMETER_COUNT);
      theta[P.lnBlur] = Math.log(0.9 * blurPx);
      for (const [name, value] of Object.entries(z)) theta[P[name as 'focus']] = value * excess;
      if (shape === MOVING) {
        const length = Math.sqrt(12 * elongation);
        theta[P.motionX] = length * Math.cos(angle / 2);
        theta[P.motionY] = length * Math.sin(angle / 2);
      } else {
        const a = Math.sqrt(elongation) * 0.7;
        theta[P.astigmatism0] = a * Math.cos(angle);
        theta[P.astigmatism45] = a * Math.sin(angle);
        if (!z.focus) theta[P.focus] += 0.3 * a;
      }
      return { why, ...fitMoments(field, obstruction, theta, shape) };
    });
    found.sort((a, b) => a.cost - b.cost);
    const distinct: typeof found = [];
    for (const candidate of found)
      if (!distinct.some((other) => sameUpToSign(other.theta, candidate.theta))) distinct.push(candidate);
    for (const { theta, why } of distinct.slice(0, keep)) starts.push({ theta, shape, why });
  }
  return starts;
}

/** Clean optics with one movement: what aberrations would otherwise imitate. */
export function cleanStarts(field: MomentField): Start[] {
  const { blurPx, typical, sharp, qx, qy } = glance(field);
  const angle = Math.atan2(qy, qx) / 2;
  const length = Math.sqrt(12 * Math.max(Math.hypot(qx, qy), 0.02 * typical));
  const clean = () => {
    const theta = new Float64Array(PARAMETER_COUNT);
    theta[P.lnBlur] = Math.log(blurPx);
    theta[P.focus] = 0.2;
    return theta;
  };
  const drift = clean();
  drift[P.motionX] = length * Math.cos(angle);
  drift[P.motionY] = length * Math.sin(angle);
  const turn = clean();
  turn[P.rotation] = Math.sqrt(12 * Math.max(typical - sharp, 0.05 * typical));
  turn[P.motionX] = 0.3 * drift[P.motionX];
  turn[P.motionY] = 0.3 * drift[P.motionY];
  const round = clean();
  round[P.lnBlur] = Math.log(FWHM_PER_SIGMA * Math.sqrt(Math.max(typical / 2 - 1 / 12, 0.15)));
  return [
    { theta: drift, shape: MOVING, why: 'clean optics, drift' },
    { theta: turn, shape: MOVING, why: 'clean optics, rotation' },
    { theta: round, shape: STILL, why: 'clean' },
  ];
}

const HOPS: ((xi: number, eta: number) => number)[] = [
  () => 1,
  (xi) => xi,
  (_, eta) => eta,
  (xi, eta) => xi + eta,
  (xi, eta) => xi - eta,
  (xi, eta) => xi * xi + eta * eta - 0.35,
  (xi, eta) => xi * xi + eta * eta - 0.12,
];

/**
 * Other sign patterns of a solution's defocus: |z| over the field is kept, its signs follow a simple surface.
 * Second moments know |z| only, so a wrong pattern is the commonest wrong minimum.
 */
export function hops({ theta, shape }: Pick<Start, 'theta' | 'shape'>, aspect: number): Start[] {
  const at = (xi: number, eta: number) =>
    theta[P.focus] + theta[P.tiltX] * xi + theta[P.tiltY] * eta + theta[P.curvature] * (xi * xi + eta * eta);
  const halfX = aspect / Math.hypot(aspect, 1);
  const halfY = 1 / Math.hypot(aspect, 1);
  const names = ['focus', 'tiltX', 'tiltY', 'curvature'] as const;
  const out: Start[] = [];
  for (const hop of HOPS) {
    const normal = new Float64Array(16);
    const right = new Float64Array(4);
    for (let i = -3; i <= 3; i++)
      for (let j = -3; j <= 3; j++) {
        const xi = (i / 3) * halfX;
        const eta = (j / 3) * halfY;
        const z = Math.abs(at(xi, eta)) * Math.sign(hop(xi, eta));
        const row = [1, xi, eta, xi * xi + eta * eta];
        for (let a = 0; a < 4; a++) {
          right[a] += row[a] * z;
          for (let b = 0; b < 4; b++) normal[a * 4 + b] += row[a] * row[b];
        }
      }
    const z = solveSymmetric(normal, right);
    if (!z) continue;
    const moved = theta.slice();
    names.forEach((name, k) => (moved[P[name]] = z[k]));
    if (sameUpToSign(moved, theta)) continue;
    if (out.some((other) => sameUpToSign(other.theta, moved))) continue;
    out.push({ theta: moved, shape, why: 'another sign pattern' });
  }
  return out;
}

/** Share of a round blur's variance that a defocus takes over. */
const DEFOCUSED_SHARE = 0.75;

/**
 * A solution with most of its round blur turned into a defocus of the same variance (half the squared edge radius' mean
 * over a full pupil): where all stars are alike, their moments cannot tell the two apart.
 */
export function defocused({ theta, shape }: Pick<Start, 'theta' | 'shape'>): Start {
  const sigma = Math.exp(theta[P.lnBlur]) / FWHM_PER_SIGMA;
  const moved = theta.slice();
  moved[P.lnBlur] += Math.log(1 - DEFOCUSED_SHARE) / 2;
  moved[P.focus] = 2 * Math.sqrt(DEFOCUSED_SHARE) * sigma;
  return { theta: moved, shape, why: 'defocus in place of a round blur' };
}

/** Whether two solutions are the same image, the hidden common sign of the even terms included. */
export function sameUpToSign(a: Float64Array, b: Float64Array): boolean {
  const compared = ['focus', 'tiltX', 'tiltY', 'curvature', 'astigmatism0', 'astigmatism45'] as const;
  const near = (sign: number) => compared.every((name) => Math.abs(a[P[name]] - sign * b[P[name]]) < 0.3);
  const rest = (['motionX', 'motionY', 'rotation', 'comaX', 'comaY', 'comaField'] as const).every(
    (name) => Math.abs(a[P[name]] - b[P[name]]) < 0.4,
  );
  return rest && (near(1) || near(-1));
}

/** Motion and constant astigmatism together: neither mode of the search holds both. */
export const BOTH: ModelShape = {
  groups: new Set<Group>([...SEARCH_GROUPS, 'astigmatism', 'motion', 'rotation']),
  path: 'straight',
};

/**
 * Starts with both elongations. From the moving solution with its coma and trefoil set back (they imitate what is
 * missing): astigmatism in four directions with a defocus to go with it. From the still one: motion in four directions.
 */
export function bothStarts(still: Float64Array, moving: Float64Array): Start[] {
  const starts: Start[] = [];
  const trail = Math.hypot(moving[P.motionX], moving[P.motionY]);
  const strength = Math.max(0.6, 0.15 * trail);
  for (const defocused of [true, false])
    for (let k = 0; k < 4; k++) {
      const theta = moving.slice();
      for (const name of ['comaX', 'comaY', 'trefoil0', 'trefoil1'] as const) theta[P[name]] *= 0.2;
      theta[P.astigmatism0] = strength * Math.cos((k * Math.PI) / 2);
      theta[P.astigmatism45] = strength * Math.sin((k * Math.PI) / 2);
      if (defocused) theta[P.focus] += theta[P.focus] < 0 ? -strength : strength;
      else theta[P.focus] = 0.15 * strength;
      starts.push({ theta, shape: BOTH, why: 'motion, then astigmatism' });
    }
  for (let k = 0; k < 4; k++) {
    const theta = still.slice();
    const length = Math.max(2, 0.6 * trail);
    theta[P.motionX] = length * Math.cos((k * Math.PI) / 4);
    theta[P.motionY] = length * Math.sin((k * Math.PI) / 4);
    starts.push({ theta, shape: BOTH, why: 'astigmatism, then motion' });
  }
  return starts;
}
