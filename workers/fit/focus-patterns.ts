import { solveSymmetric } from '../math/linear.ts';
import { COST_PER_PARAMETER } from './eliminate.ts';
import { FieldFitter } from './levenberg.ts';
import type { FitOptions, FitResult } from './levenberg.ts';
import { GROUPS, P, freeParameters } from './parameters.ts';
import type { Group } from './parameters.ts';

const FOCUS_GROUPS: readonly Group[] = ['focus', 'tilt', 'curvature'];
/** A trial that is this many times the allowed rise away after three iterations is left. */
const GIVE_UP = 12;
/** Simpler focal surfaces, each with the signs that its |z| may have had. */
const SIMPLER: { groups: Group[]; sign: (xi: number, eta: number) => number }[] = [
  { groups: ['focus'], sign: () => 1 },
  { groups: ['curvature'], sign: () => 1 },
  { groups: ['tilt'], sign: (xi) => xi },
  { groups: ['tilt'], sign: (_, eta) => eta },
  { groups: ['focus', 'curvature'], sign: () => 1 },
  { groups: ['focus', 'curvature'], sign: (xi, eta) => 0.3 - xi * xi - eta * eta },
  { groups: ['focus', 'tilt'], sign: () => 1 },
];

/**
 * Near focus |z| is known and its sign is not, so a fit may sit in a complicated focal surface where a simple one does
 * as well; dropping terms one at a time cannot get from one to the other. Tries simple surfaces with the same |z|.
 */
export async function simplerFocalSurface(
  fitter: FieldFitter,
  result: FitResult,
  options: FitOptions,
  misfit: number,
): Promise<FitResult> {
  const price = COST_PER_PARAMETER * Math.max(1, misfit);
  let best = result;
  for (const { groups, sign } of SIMPLER) {
    const present = FOCUS_GROUPS.filter((group) => best.shape.groups.has(group));
    const kept = [...best.shape.groups].filter((group) => !FOCUS_GROUPS.includes(group));
    const shape = { path: best.shape.path, groups: new Set([...kept, ...groups]) };
    const saved = freeParameters(best.shape).length - freeParameters(shape).length;
    if (present.length < 2 || saved < 1) continue;
    const theta = resigned(result.state.theta, groups, sign);
    const allowed = price * saved;
    const goal = best.cost + 0.5 * allowed;
    const trial = await fitter.fit({ ...best.state, theta }, shape, {
      ...options,
      warmUp: 1,
      goal,
      giveUpAbove: best.cost + GIVE_UP * allowed,
    });
    if (trial.cost - best.cost < allowed) best = trial;
  }
  return best;
}

/** Least-squares surface of the given groups through |z| with other signs, over the field. */
function resigned(
  theta: Float64Array,
  groups: Group[],
  sign: (xi: number, eta: number) => number,
): Float64Array {
  const members = groups.flatMap((group) => GROUPS[group].map((name) => P[name]));
  const shapeOf = (parameter: number, xi: number, eta: number) =>
    parameter === P.focus
      ? 1
      : parameter === P.tiltX
        ? xi
        : parameter === P.tiltY
          ? eta
          : xi * xi + eta * eta;
  const all = [P.focus, P.tiltX, P.tiltY, P.curvature];
  const n = members.length;
  const normal = new Float64Array(n * n);
  const right = new Float64Array(n);
  for (let i = -3; i <= 3; i++)
    for (let j = -3; j <= 3; j++) {
      const [xi, eta] = [0.27 * i, 0.18 * j];
      const z = all.reduce((sum, parameter) => sum + theta[parameter] * shapeOf(parameter, xi, eta), 0);
      const target = Math.abs(z) * (sign(xi, eta) < 0 ? -1 : 1);
      members.forEach((a, k) => {
        right[k] += shapeOf(a, xi, eta) * target;
        members.forEach((b, l) => (normal[k * n + l] += shapeOf(a, xi, eta) * shapeOf(b, xi, eta)));
      });
    }
  const solution = solveSymmetric(normal, right);
  const out = theta.slice();
  for (const parameter of all) out[parameter] = 0;
  members.forEach((parameter, k) => (out[parameter] = solution?.[k] ?? 0.3));
  return out;
}
