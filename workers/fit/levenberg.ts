import {
  copyState,
  dampedStep,
  FieldSystem,
  totalCost,
  wantedLocals,
  type FitState,
  type Priors,
} from './field-system.ts';
import { P, PARAMETER_COUNT, freeParameters, type ModelShape } from './parameters.ts';
import type { Fineness, Question, StarJob, StarPool } from './star-pool.ts';
import type { StarAnswer } from './star-solve.ts';

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
  priors: Priors;
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

const TRIES = 9;
/** A round blur that moves farther than this (in its logarithm) from the plan's gets a plan of its own. */
const LN_BLUR_DOWN = Math.log(0.8);
const LN_BLUR_UP = Math.log(1.6);

/** Joint fits of the field over one pool. Stars' own unknowns never enter the global system (block arrow). */
export class FieldFitter {
  readonly effort: Effort = { jacobians: 0, values: 0 };
  private readonly system: FieldSystem;

  constructor(
    private readonly pool: StarPool,
    fieldXi: Float64Array,
    fieldEta: Float64Array,
  ) {
    this.system = new FieldSystem(fieldXi, fieldEta);
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
    let cost = totalCost(answers, state.theta, free, options.priors);
    for (let iteration = 0; iteration < options.iterations; iteration++) {
      const { normal, gradient } = this.system.assemble(answers, state.theta, free, wanted, options.priors);
      let gained = -1;
      for (let attempt = 0; attempt < TRIES && gained < 0; attempt++) {
        const step = dampedStep(normal, gradient, free, lambda);
        if (!step) {
          lambda *= 8;
          continue;
        }
        const trial = this.system.stepped(state, answers, step, free, wanted, lambda);
        const values = await this.evaluate(ask(trial.theta, null), trial, options);
        const trialCost = totalCost(values, trial.theta, free, options.priors);
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
      if (replan) cost = totalCost(answers, state.theta, free, options.priors);
    }
    return { state, shape, free, cost, answers, normal: null, gradients: [] };
  }

  /** Adds normal matrix and star gradients at the solution, over `stars`. */
  async withCurvature(result: FitResult, options: FitOptions): Promise<FitResult> {
    const wanted = wantedLocals(result.free);
    const question = questionAt(result.state, result.shape, options, wanted);
    const answers = await this.evaluate(question, result.state, options);
    const { normal } = this.system.assemble(answers, result.state.theta, result.free, wanted, options.priors);
    const gradients = this.system.gradients(answers, result.free, wanted);
    return {
      ...result,
      answers,
      normal,
      gradients,
      cost: totalCost(answers, result.state.theta, result.free, options.priors),
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
    const { normal, gradient } = this.system.assemble(answers, state.theta, free, wanted, options.priors);
    const gradients = this.system.gradients(answers, free, wanted);
    return {
      free,
      answers,
      normal,
      gradient,
      gradients,
      cost: totalCost(answers, state.theta, free, options.priors),
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
    const trial = this.system.stepped(state, answers, step, free, wantedLocals(free), lambda);
    const question = { ...questionAt(trial, shape, options, null), planBlurPx };
    const values = await this.evaluate(question, trial, options);
    return { state: trial, cost: totalCost(values, trial.theta, free, options.priors) };
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
}

const questionAt = (
  { theta }: FitState,
  { path }: ModelShape,
  { fineness }: FitOptions,
  wanted: readonly number[] | null,
): Question => ({ theta, path, fineness, planBlurPx: Math.exp(theta[P.lnBlur]), wanted });

const jobsOf = (state: FitState, stars: readonly number[]): StarJob[] =>
  stars.map((star) => ({ star, dxPx: state.dxPx[star], dyPx: state.dyPx[star] }));
