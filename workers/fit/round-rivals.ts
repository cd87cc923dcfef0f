import { penalisedCost } from './eliminate.ts';
import type { Rival } from './field-fit.ts';
import { FieldFitter } from './levenberg.ts';
import type { FitState } from './field-system.ts';
import type { FitOptions, FitResult } from './levenberg.ts';
import type { Optics } from './optics.ts';
import type { Group, ModelShape } from './parameters.ts';
import { P } from './parameters.ts';
import { FWHM_PER_SIGMA } from './spot-moments.ts';
import { spotVariance } from './wavefront.ts';

/** A first look at few stars spares a fit that cannot come near. */
const FEW = { stars: 24, iterations: 5, hopeless: 200 };
/** How freely a held amplitude may move, as a share of itself: to slip back to zero costs a hundred. */
const HELD = 0.1;

/**
 * Defoci that round stars may hide, each with the size at which it is held: a part of the round blur's variance that is
 * a defocus all over, or a variance in the corners as large as that of the blur. `start`: what else goes with it.
 */
const HIDDEN: {
  groups: Group[];
  held: number;
  ofBlur: number;
  instead: boolean;
  start: [number, number][];
}[] = [
  { groups: ['focus'], held: P.focus, ofBlur: 0.6, instead: true, start: [] },
  { groups: ['focus', 'curvature'], held: P.curvature, ofBlur: 1, instead: false, start: [[P.focus, -0.3]] },
  { groups: ['tilt'], held: P.tiltX, ofBlur: 1.5, instead: false, start: [] },
  { groups: ['tilt'], held: P.tiltY, ofBlur: 1.5, instead: false, start: [] },
];

/**
 * What stars that look round all over might hide: near zero a defocus answers to nothing, so each is tried at a size that
 * would be worth a name, held there, all else as it is. Bright stars deny it by hundreds; in few and faint ones it may
 * fit as well as air, or better than what the search found. Nearest first.
 */
export async function hiddenInRound(
  fitter: FieldFitter,
  final: FitResult,
  options: FitOptions,
  stars: readonly number[],
  misfit: number,
  optics: Optics,
): Promise<Rival[]> {
  const scale = Math.max(1, misfit);
  const all: FitOptions = { ...options, stars: stars.slice(0, options.stars.length) };
  const few: FitOptions = { ...all, stars: all.stars.slice(0, FEW.stars), tolerance: 2 };
  const compare = async (
    start: FitState,
    shape: ModelShape,
    held: FitOptions['priors'],
    some: FitOptions,
  ) => {
    const own = await fitter.fit(final.state, final.shape, { ...some, iterations: 2 });
    const rival = await fitter.fit(start, shape, { ...some, priors: held });
    return { rival, gap: (penalisedCost(rival, misfit) - penalisedCost(own, misfit)) / scale };
  };
  const blurPx2 = (Math.exp(final.state.theta[P.lnBlur]) / FWHM_PER_SIGMA) ** 2;
  const rivals: Rival[] = [];
  for (const { groups, held, ofBlur, instead, start } of HIDDEN) {
    const size = Math.sqrt((ofBlur * blurPx2) / spotVariance('defocus', optics.obstruction));
    const theta = final.state.theta.slice();
    theta[held] = size;
    for (const [parameter, share] of start) theta[parameter] = share * size;
    if (instead) theta[P.lnBlur] += Math.log(1 - ofBlur) / 2;
    const shape: ModelShape = { ...final.shape, groups: new Set([...final.shape.groups, ...groups]) };
    const priors: FitOptions['priors'] = new Map([
      ...options.priors,
      [held, { centre: size, sigma: HELD * size }],
    ]);
    const early = await compare({ ...final.state, theta }, shape, priors, {
      ...few,
      iterations: FEW.iterations,
    });
    const hopeless = early.gap > FEW.hopeless;
    const { rival, gap } =
      hopeless || all.stars.length <= FEW.stars
        ? early
        : await compare(early.rival.state, shape, priors, { ...all, iterations: 6 });
    rivals.push({
      groups: [...shape.groups],
      path: shape.path,
      theta: [...rival.state.theta],
      gap,
      atLeast: hopeless,
    });
  }
  return rivals.sort((a, b) => a.gap - b.gap);
}
