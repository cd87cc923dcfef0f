import { blurBudget } from './budget.ts';
import type { BudgetInput } from './budget.ts';
import { MODEL_CAUSES } from './causes.ts';
import { penalisedCost } from './eliminate.ts';
import type { Rival } from './field-fit.ts';
import { FieldFitter } from './levenberg.ts';
import type { FitOptions, FitResult } from './levenberg.ts';
import type { Group, ModelShape } from './parameters.ts';
import { P } from './parameters.ts';
import type { Optics } from './optics.ts';
import { removed } from './removed.ts';
import { FWHM_PER_SIGMA } from './spot-moments.ts';
import { MOVING, STILL } from './starts.ts';
import { spotVariance } from './wavefront.ts';

/** A rival this far behind on a part of the stars cannot win: its exact distance matters to nobody. */
const HOPELESS = 200;
const FEW = { stars: 24, iterations: 5 };

/** Below this share of the round part no cause weighs anything: the round blur itself is what another may explain. */
const NOTHING = 0.1;
/** Part of the round blur's variance that a rival gives to a defocus, and how freely it may change that. */
const DEFOCUS_INSTEAD = { share: 0.6, relativeSigma: 0.15 };

/**
 * Stars that are round all over: what if most of their blur were a defocus? Bright stars show its shape, in faint ones
 * it may fit as well as air. Held near that size, for near zero a defocus answers to nothing.
 */
async function defocusInstead(
  fitter: FieldFitter,
  final: FitResult,
  options: FitOptions,
  stars: readonly number[],
  misfit: number,
  optics: Optics,
): Promise<Rival> {
  const theta = final.state.theta.slice();
  const { share, relativeSigma } = DEFOCUS_INSTEAD;
  const blurPx2 = (Math.exp(theta[P.lnBlur]) / FWHM_PER_SIGMA) ** 2;
  theta[P.focus] = Math.sqrt((share * blurPx2) / spotVariance('defocus', optics.obstruction));
  theta[P.lnBlur] += Math.log(1 - share) / 2;
  const shape: ModelShape = { ...final.shape, groups: new Set([...final.shape.groups, 'focus']) };
  const all: FitOptions = { ...options, stars: stars.slice(0, options.stars.length), iterations: 8 };
  const held = { centre: theta[P.focus], sigma: relativeSigma * theta[P.focus] };
  const own = await fitter.fit(final.state, final.shape, { ...all, iterations: 3 });
  const rival = await fitter.fit({ ...final.state, theta }, shape, {
    ...all,
    priors: new Map([...options.priors, [P.focus, held]]),
  });
  return {
    groups: [...shape.groups],
    path: shape.path,
    theta: [...rival.state.theta],
    gap: (penalisedCost(rival, misfit) - penalisedCost(own, misfit)) / Math.max(1, misfit),
    atLeast: false,
  };
}

/**
 * Best explanations of the stars without the cause that weighs most in the corners: with and without motion, all else
 * free; where nothing weighs, one that takes most of the round blur for a defocus. The distance of the nearest decides how sure the verdict may be.
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
  if (!(weight(dominant) > NOTHING * round))
    return [await defocusInstead(fitter, final, options, stars, misfit, frame.optics)];

  const rivals: Rival[] = [];
  for (const base of [STILL, MOVING]) {
    const groups = new Set<Group>([...base.groups].filter((group) => !dominant.groups.includes(group)));
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
