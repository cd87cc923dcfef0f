import type { StampSet } from '../protocol/stamps.ts';
import { loadKernels } from '../wasm/kernels.ts';
import type { Kernels } from '../wasm/kernels.ts';
import type { Optics } from './optics.ts';
import { LOCAL, P, localBasis, localValues } from './parameters.ts';
import type { PathKind } from './parameters.ts';
import { freePath, legsOf } from './free-path.ts';
import { pathTable } from './path.ts';
import { makePlan } from './plan.ts';
import type { Plan } from './plan.ts';
import { roundBlur, roundnessOf } from './round-blur.ts';
import { starImages } from './star-image.ts';
import type { Scene } from './star-image.ts';
import { solveStar } from './star-solve.ts';
import type { StarAnswer, StarPixels } from './star-solve.ts';
import { pixelsOf } from './stamp-pixels.ts';

/** How finely to compute: few frequencies and a short period while searching, exact wings at the end. */
export type Fineness = 'search' | 'final';

/** Whose image the stars have: the field's parameters and how. */
export interface Question {
  theta: Float64Array;
  path: PathKind;
  fineness: Fineness;
  /** Round blur for which the frequencies are laid out: held during a fit, so that its costs are comparable. */
  planBlurPx: number;
  /** Locals whose derivatives are wanted (x and y come with them); null for the cost alone. */
  wanted: readonly number[] | null;
}

/** One star and where its chief ray lies from the middle of its stamp. */
export interface StarJob {
  star: number;
  dxPx: number;
  dyPx: number;
}

/**
 * Whoever computes stars: this thread, or several workers that hold the same stamps. Stars are independent.
 * Calls on one pool must follow each other.
 */
export interface StarPool {
  evaluate(question: Question, jobs: readonly StarJob[], signal?: AbortSignal): Promise<StarAnswer[]>;
  /**
   * Sets the pixel variances from the model: background + photons + (modelError x signal)^2. A variance that followed
   * every trial model would make costs incomparable, so it stays until the next call.
   */
  freeze(question: Question, jobs: readonly StarJob[], modelError: number): Promise<void>;
  /** Changes the optics (obstruction scan); the variances stay. */
  setOptics(optics: Optics): Promise<void>;
  close(): void;
}

/** Residuals of one star; NaN where no pixel was used. */
export interface StarResidual {
  star: number;
  rest: Float64Array;
  model: Float64Array;
  /** Mean variance of a pixel of `rest` by noise alone. */
  noiseVariance: number;
}

/** Highest frequency carried: beyond it pixel and air leave less than this of the signal. */
const LEAST_TRANSFER = 4e-3;

/** Evaluates stars in the calling thread. */
export class InlineStarPool implements StarPool {
  private readonly pixels: StarPixels[];
  private readonly bases: Float64Array[];
  private readonly plans = new Map<string, Plan>();
  private readonly base: number;

  private constructor(
    private readonly kernels: Kernels,
    private readonly stamps: StampSet,
    private optics: Optics,
  ) {
    const { widthPx, heightPx } = stamps;
    const radius = Math.hypot(widthPx - 1, heightPx - 1) / 2;
    const stride = Math.ceil(stamps.sidePx / 4) * 4;
    this.base = kernels.arena.mark();
    this.pixels = Array.from({ length: stamps.count }, (_, star) => pixelsOf(stamps, star, stride));
    this.bases = Array.from({ length: stamps.count }, (_, star) =>
      localBasis(
        (stamps.xPx[star] - (widthPx - 1) / 2) / radius,
        (stamps.yPx[star] - (heightPx - 1) / 2) / radius,
      ),
    );
  }

  static async create(stamps: StampSet, optics: Optics): Promise<InlineStarPool> {
    return new InlineStarPool(await loadKernels(), stamps, optics);
  }

  async evaluate(question: Question, jobs: readonly StarJob[], signal?: AbortSignal): Promise<StarAnswer[]> {
    signal?.throwIfAborted();
    const scene = this.sceneOf(question, jobs);
    return jobs.map((job) =>
      solveStar(job.star, this.pixels[job.star], this.imagesOf(scene, question.theta, job)),
    );
  }

  async freeze(question: Question, jobs: readonly StarJob[], modelError: number): Promise<void> {
    const scene = this.sceneOf({ ...question, wanted: null }, jobs);
    for (const job of jobs) {
      const images = this.imagesOf(scene, question.theta, job);
      const pixels = this.pixels[job.star];
      const { flux } = solveStar(job.star, pixels, images);
      const background = this.stamps.backgroundVariance[job.star];
      for (let i = 0; i < pixels.index.length; i++) {
        const signal = Math.max(flux * images.value[pixels.index[i]], 0);
        pixels.inverseSigma[i] = 1 / Math.sqrt(background + signal + (modelError * signal) ** 2);
      }
    }
  }

  /** What the model leaves of each star, over its flux, and the model itself; rows of the stamp's own length. */
  residuals(question: Question, jobs: readonly StarJob[]): StarResidual[] {
    const scene = this.sceneOf({ ...question, wanted: null }, jobs);
    const side = this.stamps.sidePx;
    return jobs.map((job) => {
      const images = this.imagesOf(scene, question.theta, job);
      const pixels = this.pixels[job.star];
      const { flux, background } = solveStar(job.star, pixels, images);
      const rest = new Float64Array(side * side).fill(NaN);
      const model = new Float64Array(side * side);
      let noise = 0;
      for (let y = 0; y < side; y++)
        for (let x = 0; x < side; x++) model[y * side + x] = images.value[y * scene.plan.sideStride + x];
      pixels.index.forEach((index, i) => {
        const at = Math.floor(index / scene.plan.sideStride) * side + (index % scene.plan.sideStride);
        rest[at] = (pixels.electrons[i] - background) / flux - model[at];
        noise += 1 / (pixels.inverseSigma[i] * flux) ** 2 / pixels.index.length;
      });
      return { star: job.star, rest, model, noiseVariance: noise };
    });
  }

  async setOptics(optics: Optics): Promise<void> {
    this.optics = optics;
    this.plans.clear();
    this.kernels.arena.reset(this.base);
  }

  close(): void {
    this.plans.clear();
  }

  private imagesOf(scene: Scene, theta: Float64Array, job: StarJob) {
    return starImages(this.kernels, scene, localValues(this.bases[job.star], theta), job.dxPx, job.dyPx);
  }

  private sceneOf({ theta, path, fineness, planBlurPx, wanted }: Question, jobs: readonly StarJob[]): Scene {
    const plan = this.planFor(planBlurPx, fineness);
    let reach = 0;
    for (const job of jobs) {
      const local = localValues(this.bases[job.star], theta);
      const fastest = (plan.freqs - 1) * plan.step;
      reach = Math.max(reach, fastest * (Math.abs(local[LOCAL.motionX]) + Math.abs(local[LOCAL.motionY])));
    }
    return {
      plan,
      round: roundBlur(plan, roundnessOf(theta)),
      path: pathTable(path, theta[P.path1], theta[P.path2], reach),
      free: path === 'free' ? freePath(plan, legsOf(theta), wanted !== null) : null,
      wanted,
    };
  }

  /** The plan for a round blur: a few steps of frequency reach, made when first asked for. */
  private planFor(blurPx: number, fineness: Fineness): Plan {
    const slack = fineness === 'search' ? 0.9 : 0.75;
    const wantedReach = frequencyReach(blurPx * slack);
    const rung = REACHES.find((reach) => reach >= wantedReach) ?? REACHES.at(-1)!;
    const key = `${fineness} ${rung}`;
    let plan = this.plans.get(key);
    if (!plan) {
      plan = makePlan(this.kernels, {
        optics: this.optics,
        sidePx: this.stamps.sidePx,
        periodSides: fineness === 'search' ? 1.2 : 1.6,
        maxFrequency: rung,
      });
      this.plans.set(key, plan);
    }
    return plan;
  }
}

const REACHES = [0.2, 0.27, 0.36, 0.48, 0.62, 0.8, 1.05];

const frequencyReach = (blurPx: number): number => {
  // exp(-3.44 (f S / 0.976)^(5/3)) = least; the pixel only helps.
  return (0.975863 / Math.max(blurPx, 0.3)) * (-Math.log(LEAST_TRANSFER) / 3.44193) ** 0.6;
};
