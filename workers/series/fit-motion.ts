import { median, SIGMA_PER_MAD } from '../math/robust.ts';
import { leastSquares, type LeastSquares } from './least-squares.ts';
import { middleOf, motionColumns, type Exposed, type Motion, type MotionSpec } from './motion-model.ts';
import { whiten, type Noise } from './noise.ts';
import { simplexMinimum } from './simplex.ts';

/** Places of the field over time in the axes of the first frame, in order of time. */
export interface Places extends Exposed {
  x: Float64Array;
  y: Float64Array;
  /** Variance of a coordinate by the stars' own errors, px². */
  own: Float64Array;
}

export interface MotionFit {
  motion: Motion;
  noise: Noise;
  /** Natural logarithm, at its best noise: of the data ('compare') or of what the coefficients leave ('final'). */
  logLikelihood: number;
  /** Of x's and likewise of y's coefficients, periods held. */
  covariance: Float64Array;
}

/** Models may be compared by the likelihood of the data; errors come from the restricted one (Patterson & Thompson 1971). */
export type Likelihood = 'compare' | 'final';

/** A wander is believed from this gain in log likelihood on: two more parameters, chance about 2 %. */
const WANDER_GAIN = 4;
const FEWEST_FOR_WANDER = 10;
const LEAST_LOG = Math.log(1e-6);

/** Fits the coefficients and the noise. Null when the model has more freedom than the places. */
export function fitMotion(places: Places, spec: MotionSpec, likelihood: Likelihood): MotionFit | null {
  const columns = motionColumns(spec, places);
  const n = places.midS.length;
  if (n < columns.length) return null;
  const solve = (noise: Noise) => solved(places, columns, noise, likelihood);
  const still: Noise = { scatterPx2: 0, wanderPx2: 0, wanderS: 1 };
  if (n === columns.length) return packed(places, spec, still, solve(still));
  const cost = (noise: Noise) => -(solve(noise)?.logLikelihood ?? -1e9);
  const white = bestScatter(places, cost);
  let noise = white;
  if (n - columns.length >= FEWEST_FOR_WANDER - 3 && n >= FEWEST_FOR_WANDER) {
    const wander = bestWander(places, cost, white);
    if (cost(white) - cost(wander) > WANDER_GAIN)
      noise = likelihood === 'final' ? longestMemory(places, cost, wander) : wander;
  }
  return packed(places, spec, noise, solve(noise));
}

/** With the noise given, for quick comparisons. */
export function fitMotionWith(places: Places, spec: MotionSpec, noise: Noise): MotionFit | null {
  const columns = motionColumns(spec, places);
  if (places.midS.length < columns.length) return null;
  return packed(places, spec, noise, solved(places, columns, noise, 'compare'));
}

type Solved = LeastSquares & { logLikelihood: number };

function solved(
  places: Places,
  columns: Float64Array[],
  noise: Noise,
  likelihood: Likelihood,
): Solved | null {
  const white = whiten([...columns, places.x, places.y], places.midS, places.own, noise);
  const result = leastSquares(white.columns.slice(0, -2), white.columns.slice(-2));
  if (!result) return null;
  const restricted = likelihood === 'final' ? result.logDeterminant : 0;
  const logLikelihood = -0.5 * (result.chi2[0] + result.chi2[1]) - white.logVariance - restricted;
  return { ...result, logLikelihood };
}

function packed(places: Places, spec: MotionSpec, noise: Noise, result: Solved | null): MotionFit | null {
  if (!result) return null;
  const [x, y] = result.coefficients;
  return {
    motion: { spec, zeroS: middleOf(places), halfSpanS: spanOf(places) / 2, x, y },
    noise,
    logLikelihood: result.logLikelihood,
    covariance: result.covariance,
  };
}

export const spanOf = ({ midS }: Exposed): number => midS[midS.length - 1] - midS[0];

const GOLDEN = (Math.sqrt(5) - 1) / 2;

function bestScatter(places: Places, cost: (noise: Noise) => number): Noise {
  const noise = (log: number): Noise => ({ scatterPx2: Math.exp(log), wanderPx2: 0, wanderS: 1 });
  let [low, high] = [LEAST_LOG, Math.log(spreadPx2(places) + 1e-4)];
  let [a, b] = [high - GOLDEN * (high - low), low + GOLDEN * (high - low)];
  let [fa, fb] = [cost(noise(a)), cost(noise(b))];
  for (let i = 0; i < 24; i++)
    if (fa < fb) {
      [high, b, fb] = [b, a, fa];
      a = high - GOLDEN * (high - low);
      fa = cost(noise(a));
    } else {
      [low, a, fa] = [a, b, fb];
      b = low + GOLDEN * (high - low);
      fb = cost(noise(b));
    }
  return noise((low + high) / 2);
}

/**
 * The slowest wander that the places allow as well: a short run tells badly for how long the mount remembers, and the
 * error of the drift rests on it.
 */
function longestMemory(places: Places, cost: (noise: Noise) => number, best: Noise): Noise {
  const least = cost(best);
  for (let wanderS = 3 * spanOf(places); wanderS > 1.5 * best.wanderS; wanderS /= 1.8) {
    const noise = ([scatter, wander]: number[]): Noise => ({
      scatterPx2: Math.exp(Math.max(scatter, LEAST_LOG)),
      wanderPx2: Math.exp(Math.max(wander, LEAST_LOG)),
      wanderS,
    });
    const start = [best.scatterPx2, (best.wanderPx2 * wanderS) / best.wanderS].map((v) => Math.log(v));
    const found = simplexMinimum((x) => cost(noise(x)), start, [0.5, -0.5], 40);
    if (found.value < least + ALLOWED_LOSS) return noise(found.x);
  }
  return best;
}
const ALLOWED_LOSS = 1;

/** By its rate (variance over time) and its memory, which depend on each other less than its size does on either. */
function bestWander(places: Places, cost: (noise: Noise) => number, white: Noise): Noise {
  const span = spanOf(places);
  const step = span / (places.midS.length - 1);
  const [shortest, longest] = [Math.log(step / 2), Math.log(5 * span)];
  const noise = ([scatter, rate, time]: number[]): Noise => {
    const wanderS = Math.exp(Math.min(Math.max(time, shortest), longest));
    const wanderPx2 = Math.max(Math.exp(Math.min(rate, 50)) * wanderS, Math.exp(LEAST_LOG));
    return { scatterPx2: Math.exp(Math.max(scatter, LEAST_LOG)), wanderPx2, wanderS };
  };
  const usual = Math.log(Math.max(stepVariance(places), Math.exp(LEAST_LOG)) / step);
  const start = Math.log(white.scatterPx2);
  const found = [
    [start - 1, usual, Math.log(3 * span)],
    [start - 1, usual - 1, Math.log(step + 0.15 * (span - step))],
  ].map((from) => simplexMinimum((x) => cost(noise(x)), from, [-1.5, -1.5, -1], 130));
  return noise((found[0].value < found[1].value ? found[0] : found[1]).x);
}

/** Robust variance of the steps from frame to frame, px², per coordinate. */
function stepVariance({ x, y }: Places): number {
  const steps = [x, y].flatMap((axis) =>
    Array.from(axis.subarray(1), (value, i) => Math.abs(value - axis[i])),
  );
  return (SIGMA_PER_MAD * median(steps)) ** 2;
}

function spreadPx2({ x, y }: Places): number {
  const range = (v: Float64Array) =>
    v.reduce((most, each) => Math.max(most, each), -Infinity) -
    v.reduce((least, each) => Math.min(least, each), Infinity);
  return range(x) ** 2 + range(y) ** 2;
}
