import { invertSymmetric } from '../math/linear.ts';
import { BOTH_ELONGATIONS, COST_PER_PARAMETER } from './eliminate.ts';
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
/** Constant astigmatism beside these must gain this much more: each alone can imitate the other. */
const OTHERS: readonly Group[] = ['motion', 'path', 'colourSpread'];
/** Share of the needed gain that the quadratic forecast must promise before a refit is spent. */
const PROMISE = 0.6;

/**
 * Adds what the converged model lacks. One evaluation with all late terms free gives gradient and curvature; what each
 * group alone would gain follows from them, and only promising groups are refitted, best first. `forecast`: for each
 * parameter of a late term that stays out, how far from zero a refit might find it (root mean square).
 */
export async function enrich(
  fitter: FieldFitter,
  result: FitResult,
  options: FitOptions,
  misfit: number,
): Promise<{ best: FitResult; forecast: Map<number, number> }> {
  let best = result;
  const tried = new Set<Group>();
  for (;;) {
    const missing = LATE.filter((group) => !best.shape.groups.has(group));
    const forecasts = await forecastAll(fitter, best, missing, options, misfit);
    const [group] = missing
      .filter((one) => !tried.has(one) && forecasts.get(one)!.gain > PROMISE * price(best.shape, one, misfit))
      .sort((a, b) => forecasts.get(b)!.gain - forecasts.get(a)!.gain);
    if (!group) return { best, forecast: new Map([...forecasts.values()].flatMap(({ sigmas }) => sigmas)) };
    tried.add(group);
    const shape = withGroups(best.shape, [group]);
    const trial = await fitter.fit(seeded(best.state), shape, { ...options, warmUp: 0 });
    if (best.cost - trial.cost > price(best.shape, group, misfit)) best = trial;
  }
}

const price = ({ groups }: ModelShape, group: Group, misfit: number): number =>
  COST_PER_PARAMETER * Math.max(1, misfit) * GROUPS[group].length +
  (group === 'astigmatism' && OTHERS.some((other) => groups.has(other)) ? BOTH_ELONGATIONS : 0);

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

interface Forecast {
  /** What the group would gain, chi squared; nothing where it would leave its bounds at once. */
  gain: number;
  /** Each parameter, and the root mean square that a refit would leave it. */
  sigmas: [number, number][];
}

async function forecastAll(
  fitter: FieldFitter,
  best: FitResult,
  missing: readonly Group[],
  options: FitOptions,
  misfit: number,
): Promise<Map<Group, Forecast>> {
  const indices = (groups: Iterable<Group>) =>
    [...groups].flatMap((group) => GROUPS[group].map((name) => P[name]));
  const free = [...new Set([...best.free, ...indices(missing)])].sort((a, b) => a - b);
  const probe = await fitter.withCurvature({ ...best, free }, options);
  const gradient = new Float64Array(free.length);
  for (const g of probe.gradients) g.forEach((value, i) => (gradient[i] += value));
  const forecasts = new Map<Group, Forecast>();
  for (const group of missing) {
    const added = indices([group]);
    const own = [...best.free, ...added].map((parameter) => free.indexOf(parameter));
    const n = own.length;
    const block = new Float64Array(n * n);
    own.forEach((a, i) => own.forEach((b, j) => (block[i * n + j] = probe.normal![a * free.length + b])));
    const inverse = invertSymmetric(block, n);
    const step = own.map((_, i) =>
      inverse ? own.reduce((sum, b, j) => sum + inverse[i * n + j] * gradient[b], 0) : 0,
    );
    const gain = own.reduce((sum, a, i) => sum + gradient[a] * step[i], 0);
    const sigmas = added.map((parameter, k): [number, number] => {
      const i = n - added.length + k;
      const variance = Math.max(1, misfit) * (inverse?.[i * n + i] ?? 0);
      return [parameter, Math.sqrt(variance + step[i] ** 2)];
    });
    const barred = group === 'core' && step[n - 1] < 0;
    forecasts.set(group, { gain: barred ? 0 : gain, sigmas });
  }
  return forecasts;
}
