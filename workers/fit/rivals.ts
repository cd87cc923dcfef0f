import { blurBudget } from './budget.ts';
import type { BudgetInput } from './budget.ts';
import { MODEL_CAUSES } from './causes.ts';
import { penalisedCost } from './eliminate.ts';
import type { Rival } from './field-fit.ts';
import { FieldFitter } from './levenberg.ts';
import type { FitOptions, FitResult } from './levenberg.ts';
import type { Group, ModelShape } from './parameters.ts';
import { P } from './parameters.ts';
import { removed } from './removed.ts';
import { hiddenInRound } from './round-rivals.ts';
import { MOVING, STILL } from './starts.ts';

/** A rival this far behind on a part of the stars cannot win: its exact distance matters to nobody. */
const HOPELESS = 200;
const FEW = { stars: 24, iterations: 5 };

/** Below this share of the round part no cause is worth a name: then it is asked what may be hidden in round stars. */
const WORTH_A_NAME = 0.25;

/**
 * Best explanations of the stars without the cause that weighs most in the corners: with and without motion, all else
 * free. Where nothing weighs: those that hide a defocus in round stars. The distance of the nearest decides how sure the
 * verdict may be.
 */
export async function findRivals(
  fitter: FieldFitter,
  final: FitResult,
  options: FitOptions,
  stars: readonly number[],
  misfit: number,
  frame: Pick<BudgetInput, 'optics' | 'widthPx' | 'heightPx'>,
): Promise<Rival[]> {
  const corners = blurBudget({
    ...frame,
    theta: final.state.theta,
    path: final.shape.path,
    dispersionPx: { x: 0, y: 0 },
  }).find(({ where }) => where === 'corners')!.variancePx2;
  const weight = (cause: (typeof MODEL_CAUSES)[number]) =>
    cause.parts.reduce((sum, part) => sum + corners[part], 0);
  const dominant = [...MODEL_CAUSES].sort((a, b) => weight(b) - weight(a))[0];
  const round = corners.roundBlur + corners.diffraction + corners.pixel;
  if (weight(dominant) < WORTH_A_NAME * round)
    return hiddenInRound(fitter, final, options, stars, misfit, frame.optics);

  const rivals: Rival[] = [];
  for (const base of [STILL, MOVING]) {
    const groups = new Set<Group>([...base.groups].filter((group) => !dominant.groups.includes(group)));
    if (final.shape.groups.has('colourSpread')) groups.add('colourSpread');
    const moves = groups.has('motion') || groups.has('rotation');
    if (base === MOVING && !moves) continue;
    // Trails that need a free path need it in every explanation.
    const free = moves && final.shape.path === 'free';
    if (free) {
      for (const group of ['motion', 'rotation'] as const) groups.delete(group);
      groups.add('path');
    }
    const shape: ModelShape = { groups, path: free ? 'free' : moves ? 'straight' : 'none' };
    const theta = removed(final.state.theta, dominant.groups);
    // Whatever stands in for the missing cause needs a push off zero.
    if (dominant.key !== 'focus') theta[P.focus] += 0.4;
    if (moves && !free) theta[P.motionX] += 0.5;
    const start = { ...final.state, theta };
    const few: FitOptions = {
      ...options,
      stars: stars.slice(0, FEW.stars),
      iterations: FEW.iterations,
      tolerance: 2,
      warmUp: 2,
    };
    const early = await fitter.fit(start, shape, few);
    const reference = await fitter.judge(
      { theta: final.state.theta, dxPx: final.state.dxPx.slice(), dyPx: final.state.dyPx.slice() },
      final.shape,
      { ...few, warmUp: 1 },
    );
    const referenceCost = reference.reduce((sum, { cost }) => sum + cost, 0);
    const scale = Math.max(1, misfit);
    const earlyGap = (early.cost - referenceCost) / scale;
    const describe = (result: FitResult, gap: number, atLeast: boolean): Rival => ({
      groups: [...groups],
      path: shape.path,
      theta: [...result.state.theta],
      gap,
      atLeast,
    });
    if (earlyGap > HOPELESS) {
      rivals.push(describe(early, earlyGap, true));
      continue;
    }
    const all: FitOptions = { ...options, stars: stars.slice(0, options.stars.length), iterations: 8 };
    const own = await fitter.fit(final.state, final.shape, { ...all, iterations: 3 });
    const rival = await fitter.fit(early.state, shape, all);
    const gap = (penalisedCost(rival, misfit) - penalisedCost(own, misfit)) / scale;
    rivals.push(describe(rival, gap, false));
  }
  return rivals.sort((a, b) => a.gap - b.gap);
}
