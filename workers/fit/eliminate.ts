import { invertSymmetric } from '../math/linear.ts';
import { FieldFitter } from './levenberg.ts';
import type { FitOptions, FitResult } from './levenberg.ts';
import { GROUPS, P } from './parameters.ts';
import type { Group, ModelShape } from './parameters.ts';

/**
 * What one parameter must gain to stay: ln(30 000 pixels) is what the Bayesian information criterion asks, and a
 * margin. Multiplied by the misfit where that exceeds 1.
 */
export const COST_PER_PARAMETER = 12;

/** What constant astigmatism must gain beside a cause that elongates all stars alike: each alone can imitate the other. */
export const BOTH_ELONGATIONS = 60;

/** Drops that Gauss-Newton's curvature calls certain or hopeless need no refit; near focus it may be off by 4 times. */
const SURELY_NEEDED = 80;
const SURELY_IDLE = 6;
const DROP_ITERATIONS = 6;

const imitates = (group: Group, { shape }: FitResult): boolean =>
  group === 'astigmatism' && shape.groups.has('colourSpread');

const surelyNeeded = (group: Group, result: FitResult): number =>
  SURELY_NEEDED * GROUPS[group].length + (imitates(group, result) ? 4 * BOTH_ELONGATIONS : 0);

/** Cost that the quadratic approximation loses when a group is set to zero. */
function waldRises(result: FitResult): Map<Group, number> {
  const { free, normal, state } = result;
  const n = free.length;
  const rises = new Map<Group, number>();
  const covariance = normal && invertSymmetric(normal, n);
  for (const group of result.shape.groups) {
    // Green light has a width whether or not the stars show it.
    if (group === 'colourSpread') continue;
    const members = GROUPS[group].map((name) => free.indexOf(P[name])).filter((index) => index >= 0);
    if (members.length === 0) continue;
    if (!covariance) {
      rises.set(group, 0);
      continue;
    }
    const block = new Float64Array(members.length ** 2);
    members.forEach((a, i) =>
      members.forEach((b, j) => (block[i * members.length + j] = covariance[a * n + b])),
    );
    const inverse = invertSymmetric(block, members.length);
    let rise = 0;
    members.forEach((a, i) =>
      members.forEach(
        (b, j) =>
          (rise += state.theta[free[a]] * (inverse?.[i * members.length + j] ?? 0) * state.theta[free[b]]),
      ),
    );
    rises.set(group, rise);
  }
  return rises;
}

/** The shape without some groups; a path without any motion is no path. */
export function without(shape: ModelShape, dropped: readonly Group[]): ModelShape {
  const groups = new Set([...shape.groups].filter((group) => !dropped.includes(group)));
  const moves = groups.has('motion') || groups.has('rotation') || groups.has('path');
  return { groups, path: moves ? shape.path : 'none' };
}

/**
 * Backward elimination by refit (and the full model with its curvature): groups leave, least needed first, while the cost rises less than their parameters
 * are worth. The Wald test only decides what to try: near focus the cost is quartic and its verdict wrong.
 */
export async function eliminate(
  fitter: FieldFitter,
  full: FitResult,
  options: FitOptions,
  misfit: number,
): Promise<{ result: FitResult; full: FitResult }> {
  const price = COST_PER_PARAMETER * Math.max(1, misfit);
  const whole = await fitter.withCurvature(full, options);
  let result = whole;
  const refit = async (dropped: readonly Group[], allowed: number) => {
    const shape = without(result.shape, dropped);
    return fitter.fit(result.state, shape, {
      ...options,
      iterations: DROP_ITERATIONS,
      warmUp: 0,
      goal: result.cost + 0.5 * allowed,
      giveUpAbove: result.cost + 12 * allowed,
    });
  };

  const idle = [...waldRises(result)]
    .filter(([group, rise]) => rise < SURELY_IDLE * GROUPS[group].length)
    .map(([group]) => group);
  if (idle.length > 0) {
    const allowed = price * Math.min(2, idle.length);
    const trial = await refit(idle, allowed);
    if (trial.cost - result.cost < allowed) result = await fitter.withCurvature(trial, options);
  }
  const kept = new Set<Group>();
  for (;;) {
    const next = [...waldRises(result)]
      .filter(([group, rise]) => !kept.has(group) && rise < surelyNeeded(group, result))
      .sort(([a, riseA], [b, riseB]) => riseA / GROUPS[a].length - riseB / GROUPS[b].length)[0];
    if (!next) return { result, full: whole };
    const [group] = next;
    const allowed = price * GROUPS[group].length + (imitates(group, result) ? BOTH_ELONGATIONS : 0);
    const trial = await refit([group], allowed);
    if (trial.cost - result.cost < allowed) result = await fitter.withCurvature(trial, options);
    else kept.add(group);
  }
}

/** Cost with what each parameter is worth, for comparing models of different freedom. */
export const penalisedCost = (result: FitResult, misfit: number): number =>
  result.cost + COST_PER_PARAMETER * Math.max(1, misfit) * result.free.length;
