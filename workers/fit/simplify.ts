import { COST_PER_PARAMETER, eliminate, penalisedCost } from './eliminate.ts';
import { enrich } from './enrich.ts';
import type { Rival } from './field-fit.ts';
import { simplerFocalSurface } from './focus-patterns.ts';
import { junkStars } from './junk.ts';
import type { FieldFitter, FitOptions, FitResult } from './levenberg.ts';
import type { Group } from './parameters.ts';
import { handicapOf, medianMisfit } from './search.ts';
import { tryFreePath } from './try-free-path.ts';

const ELONGATING: readonly Group[] = ['motion', 'rotation', 'path', 'astigmatism'];

/** The model that is needed, the fullest one on the way to it, and what else explains the stars. */
export interface Simplified {
  best: FitResult;
  full: FitResult;
  forecast: Map<number, number>;
  stars: number[];
  misfit: number;
  contested: Rival[];
}

/**
 * From the search's candidates to the model that is needed: junk stars go, parameters that gain too little go, what is
 * missing is added; the cheapest model in cost and parameters wins.
 */
export async function simplify(
  fitter: FieldFitter,
  candidates: FitResult[],
  order: number[],
  options: FitOptions,
): Promise<Simplified> {
  const leader = candidates[0];
  const judged = await fitter.judge(leader.state, leader.shape, { ...options, stars: order, warmUp: 3 });
  const junk = junkStars(judged, medianMisfit(leader) < 1.5);
  const stars = order.filter((star) => !junk.has(star));
  const cleaned = { ...options, stars: stars.slice(0, options.stars.length) };
  const misfit = medianMisfit(leader);
  const near = COST_PER_PARAMETER * 5 * Math.max(1, misfit);
  const price = (result: FitResult) => result.cost + handicapOf(result, misfit);
  const worth = (result: FitResult) => penalisedCost(result, misfit) + handicapOf(result, misfit);
  let chosen: { best: FitResult; full: FitResult } | null = null;
  for (const candidate of candidates) {
    if (candidate.cost + handicapOf(candidate, misfit) - price(leader) > near) continue;
    const refitted = await fitter.fit(candidate.state, candidate.shape, { ...cleaned, warmUp: 1 });
    const { result, full } = await eliminate(fitter, refitted, cleaned, misfit);
    const best = await simplerFocalSurface(fitter, result, cleaned, misfit);
    if (!chosen || worth(best) < worth(chosen.best)) chosen = { best, full };
    // Without elongation that is the same everywhere all candidates end in the same model.
    if (!ELONGATING.some((group) => best.shape.groups.has(group))) break;
  }
  const { best, full } = chosen!;
  const moving = best.shape.groups.has('motion')
    ? best
    : candidates.find(({ shape }) => shape.groups.has('motion') && shape.path !== 'none');
  const moved = await tryFreePath(fitter, best, moving, cleaned, misfit);
  return {
    ...(await enrich(fitter, moved, cleaned, misfit)),
    full,
    stars,
    misfit,
    contested: contestedBy(candidates, moved),
  };
}

/** Candidates of the search that explain the elongation by the other kind of cause, as rivals of the chosen model. */
function contestedBy(candidates: FitResult[], best: FitResult): Rival[] {
  const moves = best.shape.path !== 'none';
  const elongated = ELONGATING.some((group) => best.shape.groups.has(group));
  const own = candidates.find(({ shape }) => shape.path === best.shape.path) ?? candidates[0];
  return candidates
    .filter(
      ({ shape }) =>
        elongated && (shape.path !== 'none') !== moves && (moves || !shape.groups.has('astigmatism')),
    )
    .map(({ shape, state, cost, free }) => ({
      groups: [...shape.groups],
      path: shape.path,
      theta: [...state.theta],
      gap:
        (cost - own.cost + COST_PER_PARAMETER * (free.length - own.free.length)) /
        Math.max(1, medianMisfit(own)),
      atLeast: false,
    }));
}
