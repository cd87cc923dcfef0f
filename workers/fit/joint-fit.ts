import { spreadOut, systemCovariance } from './covariance.ts';
import { dampedStep, type FitState } from './field-system.ts';
import type { FieldFitter, FitOptions, FitResult, Linearised } from './levenberg.ts';
import { fringePx } from './optics.ts';
import type { Optics } from './optics.ts';
import { P, freeParameters } from './parameters.ts';
import type { ModelShape, ParameterName } from './parameters.ts';

/** One frame of several: its stars' fitter, where it stands, and the model that holds for it. */
export interface JointFrame {
  fitter: FieldFitter;
  state: FitState;
  shape: ModelShape;
  options: FitOptions;
}

/** What stays as it is from frame to frame: the optics, and where the focuser stands. Air and mount do not. */
const REPEATS: ParameterName[] = [
  'focus',
  'tiltX',
  'tiltY',
  'curvature',
  'comaX',
  'comaY',
  'comaField',
  'astigmatism0',
  'astigmatism45',
  'astigmatismLinearX',
  'astigmatismLinearY',
  'astigmatismField',
  'trefoil0',
  'trefoil1',
  'spherical',
];
const SHARED = new Set<number>(REPEATS.map((name) => P[name]));
export const repeats = (parameter: number): boolean => SHARED.has(parameter);

export interface JointResult {
  frames: JointFrame[];
  /** Each frame's share of the normal equations where the fit ended. */
  parts: Linearised[];
  /** Cost of each frame, priors included. */
  costs: number[];
  cost: number;
  /** Number of parameters that were free, shared ones once. */
  parameters: number;
}

/** Columns of the common system: each shared parameter once, each other once for every frame that has it. */
function columnsOf(frames: readonly JointFrame[]): { of: number[][]; parameters: number[] } {
  const parameters: number[] = [];
  const shared = new Map<number, number>();
  const of = frames.map(({ shape }) =>
    freeParameters(shape).map((parameter) => {
      const known = SHARED.has(parameter) ? shared.get(parameter) : undefined;
      if (known !== undefined) return known;
      parameters.push(parameter);
      if (SHARED.has(parameter)) shared.set(parameter, parameters.length - 1);
      return parameters.length - 1;
    }),
  );
  return { of, parameters };
}

function assembled(parts: readonly Linearised[], of: readonly number[][], n: number) {
  const normal = new Float64Array(n * n);
  const gradient = new Float64Array(n);
  parts.forEach((part, frame) => {
    const columns = of[frame];
    columns.forEach((a, i) => {
      gradient[a] += part.gradient[i];
      columns.forEach((b, j) => (normal[a * n + b] += part.normal[i * columns.length + j]));
    });
  });
  return { normal, gradient };
}

const TRIES = 9;

/** Normal matrix of all frames together; `of`: the column of each frame's free parameters. */
export function jointNormal({ frames, parts }: Pick<JointResult, 'frames' | 'parts'>) {
  const { of, parameters } = columnsOf(frames);
  return { of, parameters, normal: assembled(parts, of, parameters.length).normal };
}

/**
 * Levenberg-Marquardt over several frames of one telescope and evening: the optics are the same in all, round blur,
 * core and movement belong to each frame. Shared parameters start from the first frame's. The frames given are kept.
 */
export async function fitJointly(
  given: readonly JointFrame[],
  {
    iterations,
    tolerance,
    goal = -Infinity,
    giveUpAbove = Infinity,
  }: Pick<FitOptions, 'iterations' | 'tolerance' | 'goal' | 'giveUpAbove'>,
): Promise<JointResult> {
  let frames = given.map((frame) => ({ ...frame, state: started(frame, given[0].state.theta) }));
  const { of, parameters } = columnsOf(frames);
  const n = parameters.length;
  const planBlurPx = frames.map(({ state }) => Math.exp(state.theta[P.lnBlur]));
  for (const { fitter, state, shape, options } of frames) await fitter.judge(state, shape, options);
  const linearised = () =>
    each(frames, (frame, i) =>
      frame.fitter.linearise(frame.state, frame.shape, planBlurPx[i], frame.options),
    );
  let parts = await linearised();
  let costs = parts.map(({ cost }) => cost);
  let lambda = 1e-3;
  for (let iteration = 0; iteration < iterations; iteration++) {
    const { normal, gradient } = assembled(parts, of, n);
    let gained = -1;
    for (let attempt = 0; attempt < TRIES && gained < 0; attempt++) {
      const step = dampedStep(normal, gradient, parameters, lambda);
      if (!step) {
        lambda *= 8;
        continue;
      }
      const trials = await each(frames, (frame, i) =>
        frame.fitter.attempt(
          frame.state,
          frame.shape,
          parts[i],
          Float64Array.from(of[i], (column) => step[column]),
          lambda,
          planBlurPx[i],
          frame.options,
        ),
      );
      const cost = sum(trials.map((trial) => trial.cost));
      if (cost < sum(costs)) {
        gained = sum(costs) - cost;
        costs = trials.map((trial) => trial.cost);
        frames = frames.map((frame, i) => ({ ...frame, state: trials[i].state }));
        lambda = Math.max(lambda / 6, 1e-7);
      } else lambda = Math.min(lambda * 8, 1e8);
    }
    if (gained < 0) break;
    parts = await linearised();
    const hopeless = iteration >= 2 && sum(costs) > giveUpAbove;
    if (hopeless || gained < tolerance || sum(costs) < goal) break;
  }
  return { frames, parts, costs, cost: sum(costs), parameters: n };
}

/**
 * Each frame's part of the joint fit as a fit of its own, its covariance that of all frames together. `misfitOf`: what
 * the stars of all frames leave in common.
 */
export async function jointResults(
  joint: JointResult,
  optics: Optics,
  misfitOf: (results: FitResult[]) => Promise<number>,
): Promise<{ results: FitResult[]; covariances: Float64Array[] }> {
  const { frames } = joint;
  const { of, parameters } = columnsOf(frames);
  const n = parameters.length;
  const parts = await each(frames, ({ fitter, state, shape, options }) =>
    fitter.linearise(state, shape, Math.exp(state.theta[P.lnBlur]), options),
  );
  const results = parts.map((part, i): FitResult => ({
    ...part,
    state: frames[i].state,
    shape: frames[i].shape,
  }));
  const commonMisfit = await misfitOf(results);
  const blursPx = frames.map(({ state }) => Math.exp(state.theta[P.lnBlur]));
  const covariance = systemCovariance(
    {
      parameters,
      fringeOverBlur: fringePx(optics) / Math.min(...blursPx),
      normal: assembled(parts, of, n).normal,
      gradients: parts.flatMap((part, frame) =>
        part.gradients.map((own) => {
          const wide = new Float64Array(n);
          own.forEach((value, i) => (wide[of[frame][i]] += value));
          return wide;
        }),
      ),
      answers: parts.flatMap(({ answers }) => answers),
    },
    commonMisfit,
  );
  return { results, covariances: parts.map(({ free }, frame) => spreadOut(covariance, free, of[frame])) };
}

const sum = (values: readonly number[]) => values.reduce((total, value) => total + value, 0);

/** A frame's own state with the shared parameters of another, and nothing where its model has nothing. */
function started({ state, shape }: JointFrame, from: Float64Array): FitState {
  const free = freeParameters(shape);
  const theta = state.theta.map((value, parameter) => {
    if (!free.includes(parameter)) return 0;
    return SHARED.has(parameter) ? from[parameter] : value;
  });
  return { theta, dxPx: state.dxPx.slice(), dyPx: state.dyPx.slice() };
}

/** One frame after the other: calls on one pool must follow each other. */
async function each<T, R>(items: readonly T[], ask: (item: T, index: number) => Promise<R>): Promise<R[]> {
  const out: R[] = [];
  for (const [index, item] of items.entries()) out.push(await ask(item, index));
  return out;
}
