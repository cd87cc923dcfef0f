import { solveSymmetric } from '../math/linear.ts';
import {
  EVEN_PARAMETERS,
  LOCALS,
  P,
  PARAMETERS,
  PARAMETER_COUNT,
  freeParameters,
  localBasis,
} from './parameters.ts';
import { COLOUR_SPREAD } from './colour-spread.ts';
import type { ModelShape } from './parameters.ts';
import type { Fineness, Question, StarJob, StarPool } from './star-pool.ts';
import type { StarAnswer } from './star-solve.ts';

/** Where a fit stands: the field's parameters, and each star's place (from the middle of its stamp). */
export interface FitState {
  theta: Float64Array;
  /** Indexed by star, for all stars of the set. */
  dxPx: Float64Array;
  dyPx: Float64Array;
}

export interface FitResult {
  state: FitState;
  shape: ModelShape;
  /** Indices of the parameters that were free. */
  free: number[];
  /** Huber cost of the stars plus the priors, in units of chi squared. */
  cost: number;
  answers: StarAnswer[];
  /** Normal matrix of the free parameters, priors included, and each star's gradient: for the covariance. */
  normal: Float64Array | null;
  gradients: Float64Array[];
}

export interface FitOptions {
  stars: readonly number[];
  fineness: Fineness;
  iterations: number;
  /** Iterations of the positions alone before anything else moves. */
  warmUp: number;
  /** Stop when an iteration gains less than this. */
  tolerance: number;
  /** Stop as soon as the cost is below this: a test that is passed needs no exact minimum. */
  goal?: number;
  /** Stop when the cost is still above this after the third iteration: such a start wins nothing. */
  giveUpAbove?: number;
  /** Prior centres and sigmas that differ from the registry's. */
  priors: Map<number, { centre: number; sigma: number }>;
  signal?: AbortSignal;
}

/** What a fit costs: evaluations of one star with all derivatives, and of its value alone. */
export interface Effort {
  jacobians: number;
  values: number;
}

/** A field's fit at one state: normal matrix and gradient of the free parameters, and each star's share of it. */
export interface Linearised {
  free: number[];
  answers: StarAnswer[];
  normal: Float64Array;
  gradient: Float64Array;
  gradients: Float64Array[];
  cost: number;
}

const STEP_CAP = 2.5;
const TRIES = 9;
const MIN_LN_BLUR = Math.log(0.4);
const MAX_LN_BLUR = Math.log(25);
const MAX_CORE = 0.6;
const MAX_COLOUR_SPREAD = 0.4;
/** A round blur that moves farther than this (in its logarithm) from the plan's gets a plan of its own. */
const LN_BLUR_DOWN = Math.log(0.8);
const LN_BLUR_UP = Math.log(1.6);

/** Joint fits of the field over one pool. Stars' own unknowns never enter the global system (block arrow). */
export class FieldFitter {
  readonly effort: Effort = { jacobians: 0, values: 0 };
  private readonly bases: Float64Array[];

  constructor(
    private readonly pool: StarPool,
    fieldXi: Float64Array,
    fieldEta: Float64Array,
  ) {
    this.bases = Array.from(fieldXi, (xi, star) => localBasis(xi, fieldEta[star]));
  }

  /** Levenberg-Marquardt from `start`, which is kept. */
  async fit(start: FitState, shape: ModelShape, options: FitOptions): Promise<FitResult> {
    const free = freeParameters(shape);
    const wanted = wantedLocals(free);
    const state = copyState(start);
    for (let i = 0; i < PARAMETER_COUNT; i++) if (!free.includes(i) && i !== P.lnBlur) state.theta[i] = 0;
    if (shape.path === 'jump' || shape.path === 'swing') {
      state.theta[P.path1] = start.theta[P.path1];
      state.theta[P.path2] = start.theta[P.path2];
    }
    let planBlurPx = Math.exp(state.theta[P.lnBlur]);
    const ask = (theta: Float64Array, locals: readonly number[] | null): Question => ({
      theta,
      path: shape.path,
      fineness: options.fineness,
      planBlurPx,
      wanted: locals,
    });
    await this.settlePositions(state, ask(state.theta, []), options, options.warmUp);

    let lambda = 1e-3;
    let answers = await this.evaluate(ask(state.theta, wanted), state, options);
    let cost = totalCost(answers, state.theta, free, options);
    for (let iteration = 0; iteration < options.iterations; iteration++) {
      const { normal, gradient } = this.assemble(answers, state.theta, free, wanted, options);
      let gained = -1;
      for (let attempt = 0; attempt < TRIES && gained < 0; attempt++) {
        const step = dampedStep(normal, gradient, free, lambda);
        if (!step) {
          lambda *= 8;
          continue;
        }
        const trial = this.stepped(state, answers, step, free, wanted, lambda);
        const values = await this.evaluate(ask(trial.theta, null), trial, options);
        const trialCost = totalCost(values, trial.theta, free, options);
        if (trialCost < cost) {
          gained = cost - trialCost;
          cost = trialCost;
          state.theta.set(trial.theta);
          state.dxPx.set(trial.dxPx);
          state.dyPx.set(trial.dyPx);
          lambda = Math.max(lambda / 6, 1e-7);
        } else lambda = Math.min(lambda * 8, 1e8);
      }
      if (gained < 0) break;
      const hopeless = iteration >= 2 && cost > (options.giveUpAbove ?? Infinity);
      const last = hopeless || iteration === options.iterations - 1;
      if (last || gained < options.tolerance || cost < (options.goal ?? -Infinity)) {
        answers = await this.evaluate(ask(state.theta, null), state, options);
        break;
      }
      const drift = state.theta[P.lnBlur] - Math.log(planBlurPx);
      const replan = drift < LN_BLUR_DOWN || drift > LN_BLUR_UP;
      if (replan) planBlurPx = Math.exp(state.theta[P.lnBlur]);
      answers = await this.evaluate(ask(state.theta, wanted), state, options);
      if (replan) cost = totalCost(answers, state.theta, free, options);
    }
    return { state, shape, free, cost, answers, normal: null, gradients: [] };
  }

  /** Adds normal matrix and star gradients at the solution, over `stars`. */
  async withCurvature(result: FitResult, options: FitOptions): Promise<FitResult> {
    const wanted = wantedLocals(result.free);
    const question = questionAt(result.state, result.shape, options, wanted);
    const answers = await this.evaluate(question, result.state, options);
    const { normal } = this.assemble(answers, result.state.theta, result.free, wanted, options);
    const gradients = answers.map((answer) => {
      const gradient = new Float64Array(result.free.length);
      if (answer.reduced) this.project(answer, answer.reduced.gradient, result.free, wanted, gradient);
      return gradient;
    });
    return {
      ...result,
      answers,
      normal,
      gradients,
      cost: totalCost(answers, result.state.theta, result.free, options),
    };
  }

  /** What a step from `state` must know: for fits that span several fields. `planBlurPx` is held while costs are compared. */
  async linearise(
    state: FitState,
    shape: ModelShape,
    planBlurPx: number,
    options: FitOptions,
  ): Promise<Linearised> {
    const free = freeParameters(shape);
    const wanted = wantedLocals(free);
    const question = { ...questionAt(state, shape, options, wanted), planBlurPx };
    const answers = await this.evaluate(question, state, options);
    const { normal, gradient } = this.assemble(answers, state.theta, free, wanted, options);
    const gradients = answers.map((answer) => {
      const own = new Float64Array(free.length);
      if (answer.reduced) this.project(answer, answer.reduced.gradient, free, wanted, own);
      return own;
    });
    return {
      free,
      answers,
      normal,
      gradient,
      gradients,
      cost: totalCost(answers, state.theta, free, options),
    };
  }

  /** `state` after a step of the free parameters, its stars' places moved along, and what it costs. */
  async attempt(
    state: FitState,
    shape: ModelShape,
    { free, answers }: Linearised,
    step: Float64Array,
    lambda: number,
    planBlurPx: number,
    options: FitOptions,
  ): Promise<{ state: FitState; cost: number }> {
    const trial = this.stepped(state, answers, step, free, wantedLocals(free), lambda);
    const question = { ...questionAt(trial, shape, options, null), planBlurPx };
    const values = await this.evaluate(question, trial, options);
    return { state: trial, cost: totalCost(values, trial.theta, free, options) };
  }

  /** Cost of each star at a state whose field parameters are held while the positions settle. */
  async judge(state: FitState, shape: ModelShape, options: FitOptions): Promise<StarAnswer[]> {
    const question = questionAt(state, shape, options, []);
    await this.settlePositions(state, question, options, options.warmUp);
    return this.evaluate({ ...question, wanted: null }, state, options);
  }

  async freeze(result: FitResult, options: FitOptions, modelError: number): Promise<void> {
    const { state, shape } = result;
    await this.pool.freeze(questionAt(state, shape, options, null), jobsOf(state, options.stars), modelError);
    this.effort.values += options.stars.length;
  }

  private async evaluate(question: Question, state: FitState, options: FitOptions): Promise<StarAnswer[]> {
    // Derivatives by the position alone cost hardly more than the value.
    if (question.wanted && question.wanted.length > 0) this.effort.jacobians += options.stars.length;
    else this.effort.values += options.stars.length;
    return this.pool.evaluate(question, jobsOf(state, options.stars), options.signal);
  }

  private async settlePositions(
    state: FitState,
    question: Question,
    options: FitOptions,
    rounds: number,
  ): Promise<void> {
    for (let round = 0; round < rounds; round++) {
      const answers = await this.evaluate(question, state, options);
      let farthest = 0;
      for (const { star, reduced } of answers) {
        if (!reduced) continue;
        const [dx, dy] = reduced.shift.map((shift) => Math.max(-1, Math.min(1, shift)));
        state.dxPx[star] += dx;
        state.dyPx[star] += dy;
        farthest = Math.max(farthest, Math.abs(dx), Math.abs(dy));
      }
      if (farthest < 0.02) break;
    }
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

  private assemble(
    answers: StarAnswer[],
    theta: Float64Array,
    free: number[],
    wanted: number[],
    options: FitOptions,
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
      const { centre, sigma } = priorOf(parameter, options);
      normal[i * n + i] += 1 / sigma ** 2;
      gradient[i] -= (theta[parameter] - centre) / sigma ** 2;
    });
    return { normal, gradient };
  }

  private stepped(
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
}

export const copyState = ({ theta, dxPx, dyPx }: FitState): FitState => ({
  theta: theta.slice(),
  dxPx: dxPx.slice(),
  dyPx: dyPx.slice(),
});

const questionAt = (
  { theta }: FitState,
  { path }: ModelShape,
  { fineness }: FitOptions,
  wanted: readonly number[] | null,
): Question => ({ theta, path, fineness, planBlurPx: Math.exp(theta[P.lnBlur]), wanted });

const jobsOf = (state: FitState, stars: readonly number[]): StarJob[] =>
  stars.map((star) => ({ star, dxPx: state.dxPx[star], dyPx: state.dyPx[star] }));

/** Locals that any free parameter acts on. */
function wantedLocals(free: number[]): number[] {
  const acting = new Set(free.flatMap((parameter) => Object.keys(PARAMETERS[parameter].acts)));
  return LOCALS.map((_, index) => index).filter((index) => acting.has(LOCALS[index]));
}

function priorOf(parameter: number, { priors }: FitOptions): { centre: number; sigma: number } {
  return (
    priors.get(parameter) ?? {
      centre: parameter === P.lnBlur ? 1 : parameter === P.colourSpread ? COLOUR_SPREAD.centre : 0,
      sigma: PARAMETERS[parameter].priorSigma,
    }
  );
}

function totalCost(answers: StarAnswer[], theta: Float64Array, free: number[], options: FitOptions): number {
  let cost = 0;
  for (const answer of answers) cost += answer.cost;
  for (const parameter of free) {
    const { centre, sigma } = priorOf(parameter, options);
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
