import { COST_PER_PARAMETER, eliminate } from './eliminate.ts';
import { pathMoments } from './free-path.ts';
import type { Legs } from './free-path.ts';
import type { FieldFitter, FitOptions, FitResult } from './levenberg.ts';
import { P } from './parameters.ts';
import type { Group } from './parameters.ts';
import { pathSpread } from './path.ts';
import { removed } from './removed.ts';
import { handicapOf, medianMisfit } from './search.ts';

/** From this chi squared per degree of freedom on a simpler path has not explained its trails. */
const UNEXPLAINED = 1.08;
const FEW = { stars: 20, iterations: 4 };
const REFINED = 2;
/** Corners of paths along and across the long axis: bow, hook, dwell and open loop, each also mirrored. */
const SHAPES: Legs[] = [
  [
    [0, 0],
    [1, 0.8],
    [2, 1],
    [3, 0.8],
    [4, 0],
  ],
  [
    [0, 0],
    [1, 0],
    [2, 0],
    [3, 0],
    [3.2, 1],
  ],
  [
    [0, 0],
    [0.2, 0.1],
    [0, 0.2],
    [1.5, 0.4],
    [3, 0],
  ],
  [
    [0, 0],
    [2, 0.2],
    [2.6, 0.8],
    [2, 1.4],
    [0, 1.6],
  ],
];
const MIRRORED: [number, number][] = [
  [1, 1],
  [1, -1],
  [-1, 1],
  [-1, -1],
];

/** What a bent trail is taken for as long as paths are straight. */
const IMITATIONS: readonly Group[] = ['comaConstant', 'trefoil', 'astigmatism'];

/**
 * A mount dwells, jerks and wanders: where the stars are drawn out and a straight line, a jump or a swing leaves
 * something unexplained, four straight pieces are tried in its place, from clean optics and bent to either side. They
 * are taken only for a gain far beyond their freedom, and what had stood in for the bend may then go. `moving`: the best
 * model with a path of the simpler kinds, which may be `best` itself.
 */
export async function tryFreePath(
  fitter: FieldFitter,
  best: FitResult,
  moving: FitResult | undefined,
  options: FitOptions,
  misfit: number,
): Promise<FitResult> {
  const { groups } = best.shape;
  const drawnOut = groups.has('motion') || IMITATIONS.some((group) => groups.has(group));
  if (!moving || !drawnOut || medianMisfit(best) < UNEXPLAINED) return best;
  const kept = [...groups].filter(
    (group) => group !== 'motion' && group !== 'rotation' && !IMITATIONS.includes(group),
  );
  const shape = { groups: new Set<Group>([...kept, 'path']), path: 'free' as const };
  const price = (result: FitResult) =>
    result.cost + COST_PER_PARAMETER * Math.max(1, misfit) * result.free.length + handicapOf(result, misfit);
  const few = { ...options, stars: options.stars.slice(0, FEW.stars), iterations: FEW.iterations, warmUp: 3 };
  const tried: FitResult[] = [];
  for (const legs of startLegs(moving)) {
    const theta = removed(moving.state.theta, ['motion', 'rotation', ...IMITATIONS]);
    legs.flat().forEach((value, i) => (theta[P.leg1X + i] = value));
    tried.push(await fitter.fit({ ...moving.state, theta }, shape, few));
  }
  tried.sort((a, b) => a.cost - b.cost);
  const refined: FitResult[] = [];
  for (const { state } of tried.slice(0, REFINED))
    refined.push(await fitter.fit(state, shape, { ...options, iterations: 12, warmUp: 2 }));
  const [all] = refined.sort((a, b) => a.cost - b.cost);
  // The optics' own terms come back beside the path, as far as they are needed.
  const back = new Set<Group>([...shape.groups, ...IMITATIONS.filter((group) => groups.has(group))]);
  const refitted = await fitter.fit(all.state, { groups: back, path: 'free' }, { ...options, warmUp: 0 });
  const { result } = await eliminate(fitter, refitted, options, misfit);
  return price(result) < price(best) ? result : best;
}

/** Paths of all shapes along the fitted one's axis, their variance along it above that across as fitted. */
function startLegs({ state: { theta }, shape: { path } }: FitResult): Legs[] {
  const [dx, dy] = [theta[P.motionX], theta[P.motionY]];
  const length = Math.hypot(dx, dy);
  const [c, s] = length > 0 ? [dx / length, dy / length] : [1, 0];
  const excess = pathSpread(path, theta[P.path1], theta[P.path2]).variance * length * length;
  return SHAPES.flatMap((corners) => {
    const legs = corners
      .slice(1)
      .map(([x, y], i): [number, number] => [x - corners[i][0], y - corners[i][1]]);
    const { xx, yy } = pathMoments(legs);
    const scale = Math.sqrt(Math.max(excess, 0.1) / (xx - yy));
    return MIRRORED.map(([along, across]) =>
      legs.map(([x, y]): [number, number] => {
        const [u, v] = [scale * along * x, scale * across * y];
        return [u * c - v * s, u * s + v * c];
      }),
    );
  });
}
