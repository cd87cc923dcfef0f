import { solveSymmetric } from '../math/linear.ts';
import { COST_PER_PARAMETER } from './eliminate.ts';
import { FieldFitter } from './levenberg.ts';
import type { FitOptions, FitResult } from './levenberg.ts';
import { GROUPS, P } from './parameters.ts';
import type { Group, ModelShape } from './parameters.ts';

/** Constant astigmatism beside a motion must gain this much more: each alone can imitate the other. */
const BOTH_ELONGATIONS = 60;

const candidatesFor = ({ shape }: FitResult): Group[] => {
  const optional: Group[] = [
    'spherical',
    'core',
    'astigmatism',
    'motion',
    'rotation',
    'astigmatismLinear',
    'trefoil',
  ];
  return optional.filter((group) => !shape.groups.has(group));
};

/** The shape with one more group; motion that is added is straight. */
const withGroup = (shape: ModelShape, group: Group): ModelShape => ({
  groups: new Set([...shape.groups, group]),
  path: shape.path === 'none' && (group === 'motion' || group === 'rotation') ? 'straight' : shape.path,
});

/**
 * Adds what the model lacks, only from a converged fit (from cold starts these terms find bad minima). What a group
 * would gain is read from gradient and curvature at the solution; only promising ones are refitted.
 */
export async function enrich(
  fitter: FieldFitter,
  result: FitResult,
  options: FitOptions,
  misfit: number,
): Promise<FitResult> {
  const price = COST_PER_PARAMETER * Math.max(1, misfit);
  let best = result;
  for (const group of candidatesFor(result)) {
    if (best.shape.groups.has(group)) continue;
    const shape = withGroup(best.shape, group);
    const state = seeded(best, group);
    const probe = await fitter.withCurvature({ ...best, state, shape, ...free(best, shape) }, options);
    const needed =
      price * GROUPS[group].length + (isSecondElongation(best.shape, group) ? BOTH_ELONGATIONS : 0);
    if (promisedGain(probe) < 0.6 * needed) continue;
    const trial = await fitter.fit(state, shape, { ...options, warmUp: 0 });
    if (best.cost - trial.cost > needed) best = trial;
  }
  return best;
}

const free = (best: FitResult, shape: ModelShape) => ({
  free: [
    ...new Set([...best.free, ...[...shape.groups].flatMap((group) => GROUPS[group].map((name) => P[name]))]),
  ].sort((a, b) => a - b),
});

/** Motion enters the image quadratically: at zero length nothing would pull at it. */
function seeded(best: FitResult, group: Group): FitResult['state'] {
  const theta = best.state.theta.slice();
  if (group === 'motion') theta[P.motionX] = theta[P.motionY] = 0.5;
  if (group === 'rotation') theta[P.rotation] = 0.7;
  if (group === 'core') theta[P.core] = 0.02;
  return { ...best.state, theta };
}

const isSecondElongation = ({ groups }: ModelShape, group: Group) =>
  (group === 'astigmatism' && groups.has('motion')) || (group === 'motion' && groups.has('astigmatism'));

/** Gain of a full Gauss-Newton step. */
function promisedGain({ normal, gradients, free: parameters }: FitResult): number {
  if (!normal) return 0;
  const gradient = new Float64Array(parameters.length);
  for (const g of gradients) g.forEach((value, i) => (gradient[i] += value));
  const step = solveSymmetric(normal, gradient);
  return step ? step.reduce((sum, value, i) => sum + value * gradient[i], 0) : 0;
}
