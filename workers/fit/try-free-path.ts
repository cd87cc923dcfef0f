import { COST_PER_PARAMETER, eliminate } from './eliminate.ts';
import { LEGS } from './free-path.ts';
import type { Legs } from './free-path.ts';
import type { FieldFitter, FitOptions, FitResult } from './levenberg.ts';
import { P } from './parameters.ts';
import type { Group } from './parameters.ts';
import { jumpShare, pathSpread, swingPhase } from './path.ts';
import { removed } from './removed.ts';
import { handicapOf, medianMisfit } from './search.ts';

/** From this chi squared per degree of freedom on a simpler path has not explained its trails. */
const UNEXPLAINED = 1.08;
const FEW = { stars: 24, iterations: 5 };
/** Sideways bend of the starts, over the path's length. */
const BENDS = [-0.3, 0.3];
/** What a bent trail is taken for as long as paths are straight. */
const IMITATIONS: readonly Group[] = ['comaConstant', 'trefoil', 'astigmatism'];

/**
 * A mount dwells, jerks and wanders: where the stars are drawn out and a straight line, a jump or a swing leaves
 * something unexplained, four straight pieces are tried in its place, from clean optics and bent to either side. They
 * are taken only for a gain far beyond their freedom, and what had stood in for the bend may then go.
 */
export async function tryFreePath(
  fitter: FieldFitter,
  best: FitResult,
  options: FitOptions,
  misfit: number,
): Promise<FitResult> {
  const { groups, path } = best.shape;
  if (path === 'none' || path === 'free' || !groups.has('motion')) return best;
  if (medianMisfit(best) < UNEXPLAINED) return best;
  const kept = [...groups].filter(
    (group) => group !== 'motion' && group !== 'rotation' && !IMITATIONS.includes(group),
  );
  const shape = { groups: new Set<Group>([...kept, 'path']), path: 'free' as const };
  const price = (result: FitResult) =>
    result.cost + COST_PER_PARAMETER * Math.max(1, misfit) * result.free.length + handicapOf(result, misfit);
  const tried: FitResult[] = [];
  for (const bend of BENDS) {
    const theta = removed(best.state.theta, ['motion', 'rotation', ...IMITATIONS]);
    startLegs(best, bend).forEach(([x, y], i) => {
      theta[P.leg1X + 2 * i] = x;
      theta[P.leg1X + 2 * i + 1] = y;
    });
    const few = {
      ...options,
      stars: options.stars.slice(0, FEW.stars),
      iterations: FEW.iterations,
      warmUp: 3,
    };
    tried.push(await fitter.fit({ ...best.state, theta }, shape, few));
  }
  const [leader] = tried.sort((a, b) => a.cost - b.cost);
  const all = await fitter.fit(leader.state, shape, { ...options, iterations: 10, warmUp: 2 });
  // The optics' own terms come back beside the path, as far as they are needed.
  const back = new Set<Group>([...shape.groups, ...IMITATIONS.filter((group) => groups.has(group))]);
  const refitted = await fitter.fit(all.state, { groups: back, path: 'free' }, { ...options, warmUp: 0 });
  const { result } = await eliminate(fitter, refitted, options, misfit);
  return price(result) < price(best) ? result : best;
}

/** Pieces of the path as fitted, bent sideways into a bow. */
function startLegs({ state: { theta }, shape: { path } }: FitResult, bend: number): Legs {
  const [dx, dy] = [theta[P.motionX], theta[P.motionY]];
  const along = (t: number) => {
    if (path === 'swing') return Math.sin(swingPhase(t, theta[P.path1], theta[P.path2]));
    if (path === 'jump') return t < jumpShare(theta[P.path1]) ? 0 : 1;
    return t;
  };
  const { extent } = pathSpread(path, theta[P.path1], theta[P.path2]);
  const bow = (t: number) => 4 * bend * extent * t * (1 - t);
  return Array.from({ length: LEGS }, (_, i): [number, number] => {
    const [s, u] = [along((i + 1) / LEGS) - along(i / LEGS), bow((i + 1) / LEGS) - bow(i / LEGS)];
    return [s * dx - u * dy, s * dy + u * dx];
  });
}
