import { invertSymmetric } from '../math/linear.ts';
import { COST_PER_PARAMETER } from './eliminate.ts';
import { FieldFitter } from './levenberg.ts';
import type { FitOptions, FitResult } from './levenberg.ts';
import { GROUPS, P } from './parameters.ts';
import type { Group, ModelShape } from './parameters.ts';

/** Terms that are tried last, for they find bad minima from cold starts. */
const LATE: readonly Group[] = [
  'spherical',
  'core',
  'astigmatismLinear',
  'trefoil',
  'comaConstant',
  'astigmatism',
];
/** Constant astigmatism beside a motion must gain this much more: each alone can imitate the other. */
const BOTH_ELONGATIONS = 60;
/** Share of the needed gain that the quadratic forecast must promise before a refit is spent. */
const PROMISE = 0.6;

/**
 * Adds what the converged model lacks. One evaluation with all late terms free gives gradient and curvature; what each
 * group alone would gain follows from them, and only promising groups are refitted, best first.
 */
export async function enrich(
  fitter: FieldFitter,
  result: FitResult,
  options: FitOptions,
  misfit: number,
): Promise<FitResult> {
  let best = result;
  const tried = new Set<Group>();
  for (;;) {
    const missing = LATE.filter((group) => !best.shape.groups.has(group) && !tried.has(group));
    if (missing.length === 0) return best;
    const forecast = await forecastGains(fitter, best, missing, options);
    const [group] = missing
      .filter((candidate) => forecast.get(candidate)! > PROMISE * price(best.shape, candidate, misfit))
      .sort((a, b) => forecast.get(b)! - forecast.get(a)!);
    if (!group) return best;
    tried.add(group);
    const shape = withGroups(best.shape, [group]);
    const trial = await fitter.fit(seeded(best.state), shape, { ...options, warmUp: 0 });
    if (best.cost - trial.cost > price(best.shape, group, misfit)) best = trial;
  }
}

const price = ({ groups }: ModelShape, group: Group, misfit: number): number =>
  COST_PER_PARAMETER * Math.max(1, misfit) * GROUPS[group].length +
  (group === 'astigmatism' && groups.has('motion') ? BOTH_ELONGATIONS : 0);

const withGroups = (shape: ModelShape, added: readonly Group[]): ModelShape => ({
  groups: new Set([...shape.groups, ...added]),
  path: shape.path,
});

/** A core of no weight answers to nothing: start it with a little. */
function seeded(state: FitResult['state']): FitResult['state'] {
  const theta = state.theta.slice();
  if (theta[P.core] === 0) theta[P.core] = 0.02;
  return { ...state, theta };
}

async function forecastGains(
  fitter: FieldFitter,
  best: FitResult,
  missing: readonly Group[],
  options: FitOptions,
): Promise<Map<Group, number>> {
  const indices = (groups: Iterable<Group>) =>
    [...groups].flatMap((group) => GROUPS[group].map((name) => P[name]));
  const free = [...new Set([...best.free, ...indices(missing)])].sort((a, b) => a - b);
  const probe = await fitter.withCurvature({ ...best, free }, options);
  const gradient = new Float64Array(free.length);
  for (const g of probe.gradients) g.forEach((value, i) => (gradient[i] += value));
  const gains = new Map<Group, number>();
  for (const group of missing) {
    const own = [...best.free, ...indices([group])].map((parameter) => free.indexOf(parameter));
    const n = own.length;
    const block = new Float64Array(n * n);
    own.forEach((a, i) => own.forEach((b, j) => (block[i * n + j] = probe.normal![a * free.length + b])));
    const inverse = invertSymmetric(block, n);
    let gain = 0;
    if (inverse)
      own.forEach((a, i) => own.forEach((b, j) => (gain += gradient[a] * inverse[i * n + j] * gradient[b])));
    gains.set(group, gain);
  }
  return gains;
}
