import { solveSymmetric } from '../math/linear.ts';
import { COLOUR_SPREAD } from './colour-spread.ts';
import { EVEN_PARAMETERS, LOCALS, P, PARAMETERS, PARAMETER_COUNT, localBasis } from './parameters.ts';
import type { StarAnswer } from './star-solve.ts';

/** Where a fit stands: the field's parameters, and each star's place (from the middle of its stamp). */
export interface FitState {
  theta: Float64Array;
  /** Indexed by star, for all stars of the set. */
  dxPx: Float64Array;
  dyPx: Float64Array;
}

export const copyState = ({ theta, dxPx, dyPx }: FitState): FitState => ({
  theta: theta.slice(),
  dxPx: dxPx.slice(),
  dyPx: dyPx.slice(),
});

/** Prior centres and sigmas that differ from the registry's. */
export type Priors = ReadonlyMap<number, { centre: number; sigma: number }>;

const STEP_CAP = 2.5;
const MIN_LN_BLUR = Math.log(0.4);
const MAX_LN_BLUR = Math.log(25);
const MAX_CORE = 0.6;
const MAX_COLOUR_SPREAD = 0.4;

/**
 * The normal equations of a field: what each star says of its own shape, by the basis of its place, becomes what all say of the
 * field's free parameters, and a step of those becomes one of every star's place (block arrow: a star's own unknowns never
 * enter the common system).
 */
export class FieldSystem {
  private readonly bases: Float64Array[];

  constructor(fieldXi: Float64Array, fieldEta: Float64Array) {
    this.bases = Array.from(fieldXi, (xi, star) => localBasis(xi, fieldEta[star]));
  }

  /** Each star's share of the gradient. */
  gradients(answers: StarAnswer[], free: number[], wanted: number[]): Float64Array[] {
    return answers.map((answer) => {
      const gradient = new Float64Array(free.length);
      if (answer.reduced) this.project(answer, answer.reduced.gradient, free, wanted, gradient);
      return gradient;
    });
  }

  /** Normal matrix and gradient of the free parameters, priors included. */
  assemble(
    answers: StarAnswer[],
    theta: Float64Array,
    free: number[],
    wanted: number[],
    priors: Priors,
  ): { normal: Float64Array; gradient: Float64Array } {
    const n = free.length;
    const locals = wanted.length;
    const normal = new Float64Array(n * n);
    const gradient = new Float64Array(n);
    const half = new Float64Array(locals * n);
    for (const answer of answers) {
      if (!answer.reduced) continue;
      const { matrix } = answer.reduced;
      const basis = this.bases[answer.star];
      this.project(answer, answer.reduced.gradient, free, wanted, gradient);
      half.fill(0);
      for (let a = 0; a < locals; a++)
        for (let b = 0; b < locals; b++) {
          const m = matrix[a * locals + b];
          for (let j = 0; j < n; j++) half[a * n + j] += m * basis[wanted[b] * PARAMETER_COUNT + free[j]];
        }
      for (let i = 0; i < n; i++)
        for (let a = 0; a < locals; a++) {
          const weight = basis[wanted[a] * PARAMETER_COUNT + free[i]];
          if (weight !== 0) for (let j = 0; j < n; j++) normal[i * n + j] += weight * half[a * n + j];
        }
    }
    free.forEach((parameter, i) => {
      const { centre, sigma } = priorOf(parameter, priors);
      normal[i * n + i] += 1 / sigma ** 2;
      gradient[i] -= (theta[parameter] - centre) / sigma ** 2;
    });
    return { normal, gradient };
  }

  /** `state` after a step of the free parameters, its stars' places moved along. */
  stepped(
    state: FitState,
    answers: StarAnswer[],
    step: Float64Array,
    free: number[],
    wanted: number[],
    lambda: number,
  ): FitState {
    const trial = copyState(state);
    free.forEach((parameter, i) => (trial.theta[parameter] += step[i]));
    trial.theta[P.lnBlur] = Math.max(MIN_LN_BLUR, Math.min(MAX_LN_BLUR, trial.theta[P.lnBlur]));
    trial.theta[P.core] = Math.max(0, Math.min(MAX_CORE, trial.theta[P.core]));
    trial.theta[P.colourSpread] = Math.max(0, Math.min(MAX_COLOUR_SPREAD, trial.theta[P.colourSpread]));
    for (const { star, reduced } of answers) {
      if (!reduced) continue;
      const basis = this.bases[star];
      let dx = reduced.shift[0] / (1 + lambda);
      let dy = reduced.shift[1] / (1 + lambda);
      wanted.forEach((local, l) => {
        let move = 0;
        free.forEach((parameter, i) => (move += basis[local * PARAMETER_COUNT + parameter] * step[i]));
        dx -= reduced.shiftBy[0][l] * move;
        dy -= reduced.shiftBy[1][l] * move;
      });
      trial.dxPx[star] += Math.max(-2, Math.min(2, dx));
      trial.dyPx[star] += Math.max(-2, Math.min(2, dy));
    }
    return trial;
  }

  /** Adds basis' times a local vector into the free parameters. */
  private project(
    { star }: StarAnswer,
    local: Float64Array,
    free: number[],
    wanted: number[],
    into: Float64Array,
  ): void {
    const basis = this.bases[star];
    for (let i = 0; i < free.length; i++)
      for (let l = 0; l < wanted.length; l++)
        into[i] += basis[wanted[l] * PARAMETER_COUNT + free[i]] * local[l];
  }
}

/** Locals that any free parameter acts on. */
export function wantedLocals(free: number[]): number[] {
  const acting = new Set(free.flatMap((parameter) => Object.keys(PARAMETERS[parameter].acts)));
  return LOCALS.map((_, index) => index).filter((index) => acting.has(LOCALS[index]));
}

function priorOf(parameter: number, priors: Priors): { centre: number; sigma: number } {
  return (
    priors.get(parameter) ?? {
      centre: parameter === P.lnBlur ? 1 : parameter === P.colourSpread ? COLOUR_SPREAD.centre : 0,
      sigma: PARAMETERS[parameter].priorSigma,
    }
  );
}

/** Huber cost of the stars plus the priors, in units of chi squared; infinite where the model cannot be drawn. */
export function totalCost(
  answers: StarAnswer[],
  theta: Float64Array,
  free: number[],
  priors: Priors,
): number {
  let cost = 0;
  for (const answer of answers) cost += answer.cost;
  for (const parameter of free) {
    const { centre, sigma } = priorOf(parameter, priors);
    cost += ((theta[parameter] - centre) / sigma) ** 2;
  }
  return Number.isFinite(cost) ? cost : Infinity;
}

const EVEN = new Set(EVEN_PARAMETERS.map((name) => P[name]));

/**
 * Solves (H + damping) step = g. Near focus the cost is quartic in the even terms and the Gauss-Newton curvature there
 * is far too small: their diagonal gets at least a hundredth of the round blur's.
 */
export function dampedStep(
  normal: Float64Array,
  gradient: Float64Array,
  free: number[],
  lambda: number,
): Float64Array | null {
  const n = free.length;
  const damped = normal.slice();
  const blur = free.indexOf(P.lnBlur);
  const floor = blur >= 0 ? 0.01 * normal[blur * n + blur] : 0;
  for (let i = 0; i < n; i++) {
    const own = normal[i * n + i];
    const lift = EVEN.has(free[i]) ? Math.max(0, floor - own) : 0;
    damped[i * n + i] = own * (1 + lambda) + lift + 1e-9;
  }
  const step = solveSymmetric(damped, gradient);
  if (!step) return null;
  for (let i = 0; i < n; i++) step[i] = Math.max(-STEP_CAP, Math.min(STEP_CAP, step[i]));
  if (blur >= 0) step[blur] = Math.max(-0.5, Math.min(0.5, step[blur]));
  return step;
}
