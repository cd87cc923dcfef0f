import { failure, success } from '../protocol/faults.ts';
import type { Outcome } from '../protocol/faults.ts';
import type { Rig } from '../protocol/rig.ts';
import type { StampSet } from '../protocol/stamps.ts';
import type { OpticsFacts } from './choose-optics.ts';
import { trailOfColour } from './colour-trail.ts';
import type { FieldFit } from './field-fit.ts';
import { fieldPositions, racingOrder } from './field-stars.ts';
import { MODEL_ERROR, fitField, opticsPriors } from './fit-field.ts';
import type { FitProgress, StarPoolMaker } from './fit-field.ts';
import { fitJointly } from './joint-fit.ts';
import type { JointFrame, JointResult } from './joint-fit.ts';
import { eliminateJointly, misfitOfFrames, priceOf } from './joint-model.ts';
import { jointFits } from './joint-report.ts';
import { jointRivals } from './joint-rivals.ts';
import { jointStarts, withAllOptics } from './joint-starts.ts';
import { junkStars } from './junk.ts';
import { FieldFitter } from './levenberg.ts';
import type { ModelShape } from './parameters.ts';
import { startingPlaces, stampMoments } from './stamp-moments.ts';
import type { Optics } from './optics.ts';
import type { StarPool } from './star-pool.ts';

/** Stars of all frames together that each stage looks at, and how long it goes on. */
const COMPARE = { stars: 70, iterations: 5, tolerance: 2 };
const SETTLE = { stars: 150, iterations: 8, tolerance: 0.5 };
const FINISH = { stars: 240, iterations: 6, tolerance: 0.1 };
/** Chi squared by which a start may lag behind the best so far after its third step. */
const FAR_BEHIND = 600;
/** Share of the way that the frames' own fits take. */
const ALONE = 0.6;

/** What is known of one frame: its stars, and its own fit where that was made before. */
export interface FrameStamps {
  stamps: StampSet;
  fit?: FieldFit;
}

interface Prepared {
  index: number;
  stamps: StampSet;
  single: FieldFit;
  pool: StarPool;
  frame: JointFrame;
}

/** Several frames under one telescope: for each frame that could be used its fit alone and with the others. */
export interface FramesFit {
  frames: { index: number; alone: FieldFit; fit: FieldFit }[];
  /** Frames that say nothing on their own, and why. */
  left: { index: number; why: string }[];
}

/**
 * Fits consecutive frames of one field, telescope and focus together: the optics and the focus are the same in all,
 * round blur and movement belong to each frame. Optics repeat, movement does not: what one frame with few stars cannot
 * part, several can. Each frame is fitted alone first; every explanation of the optics that any of them found, and the
 * one with all terms free, is then held against all of them, and what they do not need is dropped. Only stamps are
 * held, never pixels of frames. Answers with a fault when no frame can be fitted; rejects with an AbortError when
 * `signal` fires.
 */
export async function fitFrames(
  given: readonly FrameStamps[],
  facts: OpticsFacts,
  rig: Rig,
  makePool: StarPoolMaker,
  onProgress: FitProgress = () => {},
  signal?: AbortSignal,
): Promise<Outcome<FramesFit>> {
  const left: FramesFit['left'] = [];
  const singles: { index: number; stamps: StampSet; single: FieldFit }[] = [];
  for (const [index, { stamps, fit }] of given.entries()) {
    const report = (done: number) => onProgress((ALONE * (index + done)) / given.length, 'searching');
    const outcome = fit ? success(fit) : await fitField(stamps, facts, rig, makePool, report, signal);
    if (outcome.ok) singles.push({ index, stamps, single: outcome.value });
    else left.push({ index, why: outcome.fault.message });
  }
  if (singles.length === 0)
    return failure('too-few-stars', left[0]?.why ?? 'There is no frame to fit: choose some of one field.');
  if (singles.length === 1)
    return success({
      frames: singles.map(({ index, single }) => ({ index, alone: single, fit: single })),
      left,
    });
  const { optics } = singles[0].single;
  const prepared: Prepared[] = [];
  try {
    for (const one of singles) prepared.push(await prepare(one, optics, makePool, signal));
    const chosen = await withColours(await chooseModel(prepared, onProgress), prepared);
    onProgress(0.85, 'finishing');
    const rivals = await jointRivals(chosen, { optics, ...sizeOf(prepared[0].stamps) });
    onProgress(0.94, 'finishing');
    const fits = await jointFits(prepared, await finish(chosen, prepared), rivals);
    onProgress(1, 'finishing');
    return success({
      frames: prepared.map(({ index, single }, i) => ({ index, alone: single, fit: fits[i] })),
      left,
    });
  } finally {
    for (const { pool } of prepared) pool.close();
  }
}

const sizeOf = ({ widthPx, heightPx }: StampSet) => ({ widthPx, heightPx });

/** A frame's stars, judged under its own fit; variances frozen from that, so that all models compare. */
async function prepare(
  one: { index: number; stamps: StampSet; single: FieldFit },
  optics: Optics,
  makePool: StarPoolMaker,
  signal?: AbortSignal,
): Promise<Prepared> {
  const { stamps, single } = one;
  // Air parts the colours differently in each frame.
  const pool = await makePool(stamps, { ...optics, colourShiftPx: single.optics.colourShiftPx });
  const field = fieldPositions(stamps);
  const moments = stampMoments(stamps);
  const fitter = new FieldFitter(pool, field.xi, field.eta);
  const state = { theta: Float64Array.from(single.theta), ...startingPlaces(moments) };
  const shape: ModelShape = { groups: new Set(single.groups), path: single.path };
  const order = racingOrder(moments, field);
  const options = {
    stars: order,
    fineness: 'search' as const,
    iterations: 0,
    warmUp: 5,
    tolerance: 1,
    priors: opticsPriors(optics),
    signal,
  };
  const junk = junkStars(await fitter.judge(state, shape, options), single.chi2PerDof < 1.5);
  const stars = order.filter((star) => !junk.has(star));
  const freezing = { state, shape, free: [], cost: 0, answers: [], normal: null, gradients: [] };
  await fitter.freeze(freezing, { ...options, stars }, MODEL_ERROR);
  return { ...one, pool, frame: { fitter, state, shape, options: { ...options, stars, warmUp: 2 } } };
}

/** Frames with at most `stars` of theirs in all. */
const limited = (frames: readonly JointFrame[], stars: number, full: readonly JointFrame[]): JointFrame[] =>
  frames.map((frame, i) => ({
    ...frame,
    options: {
      ...frame.options,
      stars: full[i].options.stars.slice(0, Math.ceil(stars / frames.length)),
    },
  }));

/** The model that explains all frames best for its price. */
async function chooseModel(prepared: readonly Prepared[], onProgress: FitProgress): Promise<JointResult> {
  const full = prepared.map(({ frame }) => frame);
  const starts = jointStarts(prepared);
  const tried: JointResult[] = [];
  for (const [i, start] of starts.entries()) {
    const giveUpAbove = Math.min(...tried.map(({ cost }) => cost)) + FAR_BEHIND;
    tried.push(await fitJointly(limited(start, COMPARE.stars, full), { ...COMPARE, giveUpAbove }));
    onProgress(ALONE + (0.12 * (i + 1)) / starts.length, 'searching');
  }
  const scale = Math.min(...tried.map(misfitOfFrames));
  tried.sort((a, b) => priceOf(a, scale) - priceOf(b, scale));
  const settled = await fitJointly(limited(tried[0].frames, SETTLE.stars, full), SETTLE);
  const misfit = misfitOfFrames(settled);
  const plain = await eliminateJointly(settled, misfit);
  onProgress(0.78, 'simplifying');
  const rich = await fitJointly(withAllOptics(plain.frames), SETTLE);
  const slim = await eliminateJointly(rich, misfit);
  return priceOf(slim, misfit) < priceOf(plain, misfit) ? slim : plain;
}

/** Trails that are the green light's own width go over to the colours, as in the fit of one frame. */
async function withColours(chosen: JointResult, prepared: readonly Prepared[]): Promise<JointResult> {
  const frames = chosen.frames.map((frame, i) => trailOfColour(frame, prepared[i].single.optics));
  return frames.every((frame, i) => frame === chosen.frames[i]) ? chosen : fitJointly(frames, SETTLE);
}

/** The last word: exact wings, more stars, variances from the model that was chosen. */
async function finish({ frames }: JointResult, prepared: readonly Prepared[]): Promise<JointResult> {
  const full = prepared.map(({ frame }) => frame);
  const fine = limited(frames, FINISH.stars, full).map((frame) => ({
    ...frame,
    options: { ...frame.options, fineness: 'final' as const },
  }));
  for (const { fitter, state, shape, options } of fine) {
    const freezing = { state, shape, free: [], cost: 0, answers: [], normal: null, gradients: [] };
    await fitter.freeze(freezing, options, MODEL_ERROR);
  }
  return fitJointly(fine, FINISH);
}
