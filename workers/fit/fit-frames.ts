import { failure, success } from '../protocol/faults.ts';
import type { Outcome } from '../protocol/faults.ts';
import type { Rig } from '../protocol/rig.ts';
import type { StampSet } from '../protocol/stamps.ts';
import type { OpticsFacts } from './choose-optics.ts';
import { COST_PER_PARAMETER, without } from './eliminate.ts';
import { MODEL_ERROR, fitField, misfitOf, opticsPriors } from './fit-field.ts';
import type { StarPoolMaker } from './fit-field.ts';
import type { FieldFit, Rival } from './field-fit.ts';
import { fieldPositions, racingOrder } from './field-stars.ts';
import { widthsOf } from './field-widths.ts';
import { fitJointly, jointResults, repeats } from './joint-fit.ts';
import type { JointFrame, JointResult } from './joint-fit.ts';
import { junkStars } from './junk.ts';
import { FieldFitter } from './levenberg.ts';
import { P } from './parameters.ts';
import type { Group, ModelShape } from './parameters.ts';
import { medianMisfit } from './search.ts';
import { settleSign } from './sign.ts';
import { stampMoments } from './stamp-moments.ts';
import type { StarPool } from './star-pool.ts';

const COMPARE = { stars: 20, iterations: 6, tolerance: 2 };
const SETTLE = { stars: 40, iterations: 8, tolerance: 0.5 };
const FINISH = { stars: 60, iterations: 6, tolerance: 0.1 };
/** Groups that a frame has for itself: air and mount do not repeat. */
const OWN: readonly Group[] = ['core', 'motion', 'rotation', 'path'];
/** A push off zero: a trail of no length answers to nothing. */
const FIRST_TRAIL_PX = [0.5, 0.3];

interface Prepared {
  index: number;
  stamps: StampSet;
  single: FieldFit;
  pool: StarPool;
  fitter: FieldFitter;
  frame: JointFrame;
}

/** Several frames under one telescope: a fit for each frame that could be used, all with the same optics. */
export interface FramesFit {
  frames: { index: number; fit: FieldFit }[];
  /** Frames that say nothing on their own, and why. */
  left: { index: number; why: string }[];
}

/**
 * Fits consecutive frames of one field, telescope and focus together: the optics and the focus are the same in all,
 * round blur and movement belong to each frame. Optics repeat, movement does not: what one frame with few stars cannot
 * part, several can. Each frame is fitted alone first; the optics that any of them found are then held against all of
 * them. Answers with a fault when no frame can be fitted; rejects with an AbortError when `signal` fires.
 */
export async function fitFrames(
  sets: readonly StampSet[],
  facts: OpticsFacts,
  rig: Rig,
  makePool: StarPoolMaker,
  onProgress: (done: number) => void = () => {},
  signal?: AbortSignal,
): Promise<Outcome<FramesFit>> {
  const left: FramesFit['left'] = [];
  const singles: { index: number; stamps: StampSet; single: FieldFit }[] = [];
  for (const [index, stamps] of sets.entries()) {
    const report = (done: number) => onProgress((0.7 * (index + done)) / sets.length);
    const outcome = await fitField(stamps, facts, rig, makePool, report, signal);
    if (outcome.ok) singles.push({ index, stamps, single: outcome.value });
    else left.push({ index, why: outcome.fault.message });
  }
  if (singles.length === 0)
    return failure('too-few-stars', left[0]?.why ?? 'There is no frame to fit: choose some of one field.');
  if (singles.length === 1)
    return success({ frames: singles.map(({ index, single }) => ({ index, fit: single })), left });
  const prepared: Prepared[] = [];
  try {
    for (const one of singles) prepared.push(await prepare(one, singles[0].single, makePool, signal));
    const { joint, rivals } = await chooseOptics(prepared);
    onProgress(0.85);
    const simple = await simplify(joint, misfitOfAll(prepared));
    const fine = await fitJointly(
      limited(simple.frames, FINISH.stars).map((frame) => ({
        ...frame,
        options: { ...frame.options, fineness: 'final' as const },
      })),
      FINISH,
    );
    const frames = await described(prepared, fine, rivals);
    onProgress(1);
    return success({ frames, left });
  } finally {
    for (const { pool } of prepared) pool.close();
  }
}

/** A frame's stars, judged under its own fit; variances frozen from that, so that all models compare. */
async function prepare(
  one: { index: number; stamps: StampSet; single: FieldFit },
  first: FieldFit,
  makePool: StarPoolMaker,
  signal?: AbortSignal,
): Promise<Prepared> {
  const { stamps, single } = one;
  const pool = await makePool(stamps, first.optics);
  const field = fieldPositions(stamps);
  const moments = stampMoments(stamps);
  const fitter = new FieldFitter(pool, field.xi, field.eta);
  const finite = (values: Float64Array) => values.map((value) => (Number.isFinite(value) ? value : 0));
  const state = {
    theta: Float64Array.from(single.theta),
    dxPx: finite(moments.dxPx),
    dyPx: finite(moments.dyPx),
  };
  const shape: ModelShape = { groups: new Set(single.groups), path: single.path };
  const order = racingOrder(moments, field);
  const options = {
    stars: order,
    fineness: 'search' as const,
    iterations: 0,
    warmUp: 5,
    tolerance: 1,
    priors: opticsPriors(first.optics),
    signal,
  };
  const junk = junkStars(await fitter.judge(state, shape, options), single.chi2PerDof < 1.5);
  const stars = order.filter((star) => !junk.has(star));
  const freezing = { state, shape, free: [], cost: 0, answers: [], normal: null, gradients: [] };
  await fitter.freeze(freezing, { ...options, stars }, MODEL_ERROR);
  return { ...one, pool, fitter, frame: { fitter, state, shape, options: { ...options, stars, warmUp: 2 } } };
}

const misfitOfAll = (prepared: readonly Prepared[]): number =>
  Math.max(1, ...prepared.map(({ single }) => single.chi2PerDof));

const limited = (frames: readonly JointFrame[], stars: number): JointFrame[] =>
  frames.map((frame) => ({
    ...frame,
    options: { ...frame.options, stars: frame.options.stars.slice(0, stars) },
  }));

/** Frames with the optics of `from`, each with the movement that it found, or a straight one where it found none. */
function withOpticsOf(from: FieldFit, prepared: readonly Prepared[], moving: boolean): JointFrame[] {
  return prepared.map(({ frame, single }) => {
    const own = single.groups.filter((group) => OWN.includes(group));
    const groups = new Set<Group>([...from.groups.filter((group) => !OWN.includes(group)), ...own]);
    const theta = frame.state.theta.map((value, parameter) =>
      repeats(parameter) ? from.theta[parameter] : value,
    );
    let { path } = single;
    if (path === 'none' && moving) {
      path = 'straight';
      groups.add('motion');
      [theta[P.motionX], theta[P.motionY]] = FIRST_TRAIL_PX;
    }
    return { ...frame, shape: { groups, path }, state: { ...frame.state, theta } };
  });
}

/** The optics, among those that single frames found, that explain all frames best; the others as rivals. */
async function chooseOptics(
  prepared: readonly Prepared[],
): Promise<{ joint: JointResult; rivals: Rival[][] }> {
  const scale = misfitOfAll(prepared);
  const moving = prepared.some(({ single }) => single.path !== 'none');
  const price = ({ cost, parameters }: JointResult) => cost / scale + COST_PER_PARAMETER * parameters;
  const tried: { joint: JointResult; price: number }[] = [];
  for (const { single } of prepared) {
    const joint = await fitJointly(limited(withOpticsOf(single, prepared, moving), COMPARE.stars), COMPARE);
    tried.push({ joint, price: price(joint) });
  }
  tried.sort((a, b) => a.price - b.price);
  const [best] = tried;
  const rivals = prepared.map((_, i) =>
    tried.slice(1).map(({ joint, price: own }): Rival => {
      const { shape, state } = joint.frames[i];
      return {
        groups: [...shape.groups],
        path: shape.path,
        theta: [...state.theta],
        gap: own - best.price,
        atLeast: false,
      };
    }),
  );
  const frames = best.joint.frames.map((frame, i) => ({ ...frame, options: prepared[i].frame.options }));
  return { joint: await fitJointly(limited(frames, SETTLE.stars), SETTLE), rivals };
}

/** Drops shared groups, and each frame's movement, that all frames together do not need. */
async function simplify(joint: JointResult, misfit: number): Promise<JointResult> {
  let best = joint;
  const worth = ({ cost, parameters }: JointResult) => cost / misfit + COST_PER_PARAMETER * parameters;
  const attempt = async (frames: JointFrame[]) => {
    const trial = await fitJointly(frames, { iterations: 5, tolerance: 1 });
    if (worth(trial) < worth(best)) best = trial;
  };
  const dropped = (frame: JointFrame, groups: readonly Group[]): JointFrame => ({
    ...frame,
    shape: without(frame.shape, groups),
  });
  const shared = [...new Set(best.frames.flatMap(({ shape }) => [...shape.groups]))].filter(
    (group) => !OWN.includes(group),
  );
  for (const group of shared) await attempt(best.frames.map((frame) => dropped(frame, [group])));
  for (let i = 0; i < best.frames.length; i++) {
    if (best.frames[i].shape.path === 'none') continue;
    const still: readonly Group[] = ['motion', 'rotation', 'path'];
    await attempt(best.frames.map((frame, j) => (i === j ? dropped(frame, still) : frame)));
  }
  return best;
}

/** The joint fit as one fit per frame, in the form that verdict and screens know. */
async function described(
  prepared: readonly Prepared[],
  joint: JointResult,
  rivals: Rival[][],
): Promise<FramesFit['frames']> {
  const { results, covariances } = await jointResults(joint, prepared[0].single.optics, async (result, i) => {
    const { stamps, single } = prepared[i];
    const { options } = joint.frames[i];
    return (await misfitOf(stamps, single.optics, fieldPositions(stamps), result, options)).whole;
  });
  const frames: FramesFit['frames'] = [];
  for (const [i, { index, stamps, single }] of prepared.entries()) {
    const { state, shape } = results[i];
    const sign = settleSign(state.theta, covariances[i], shape.groups);
    const fit: FieldFit = {
      ...single,
      optics: prepared[0].single.optics,
      groups: [...shape.groups],
      path: shape.path,
      theta: [...sign.theta],
      focusSignKnown: sign.known,
      covariance: [...sign.covariance],
      droppedSigma: single.droppedSigma.map((sigma, p) => (results[i].free.includes(p) ? 0 : sigma)),
      chi2PerDof: medianMisfit(results[i]),
      stars: joint.frames[i].options.stars.length,
      rivals: rivals[i],
      ...(await widthsOf(results[i], single.optics, stamps, single.dispersionPx)),
    };
    frames.push({ index, fit });
  }
  return frames;
}
