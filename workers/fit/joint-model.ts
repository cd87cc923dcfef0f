import { invertSymmetric } from '../math/linear.ts';
import { COST_PER_PARAMETER, without } from './eliminate.ts';
import { fitJointly, jointNormal } from './joint-fit.ts';
import type { JointFrame, JointResult } from './joint-fit.ts';
import { GROUPS, P } from './parameters.ts';
import type { Group } from './parameters.ts';
import { handicapOf, medianMisfit } from './search.ts';

/** Groups that a frame has for itself: air and mount do not repeat. */
export const OWN: readonly Group[] = ['core', 'colourSpread', 'motion', 'rotation', 'path'];
export const MOVEMENT: readonly Group[] = ['motion', 'rotation', 'path'];
export const isShared = (group: Group): boolean => !OWN.includes(group);

/** Drops that the curvature calls certain or hopeless need no refit, as in the fit of one frame. */
const SURELY_NEEDED = 80;
const SURELY_IDLE = 6;
const DROP_ITERATIONS = 5;

/** Misfit by which costs are divided: the median frame's, at least 1. */
export const misfitOfFrames = ({ parts }: Pick<JointResult, 'parts'>): number => {
  const each = parts.map(medianMisfit).sort((a, b) => a - b);
  return Math.max(1, each[each.length >> 1] ?? 1);
};

/** Cost with what each parameter and each unlikely kind of path is worth: for comparing models. */
export const priceOf = ({ cost, parameters, frames, parts }: JointResult, misfit: number): number =>
  cost +
  COST_PER_PARAMETER * misfit * parameters +
  frames.reduce((sum, { shape }, i) => {
    // Astigmatism beside movement is nothing odd where several frames share the one and not the other.
    const alone = without(shape, ['astigmatism']);
    return sum + handicapOf({ shape: alone, answers: parts[i].answers }, misfit);
  }, 0);

/** What may be left out of the common model: an optical term of all frames, or what one frame has for itself. */
interface Droppable {
  groups: readonly Group[];
  /** Null: of all. */
  frame: number | null;
}

const dropped = (frames: readonly JointFrame[], drops: readonly Droppable[]): JointFrame[] =>
  frames.map((frame, i) => ({
    ...frame,
    shape: drops
      .filter((drop) => drop.frame === null || drop.frame === i)
      .reduce((shape, { groups }) => without(shape, groups), frame.shape),
  }));

function droppables(frames: readonly JointFrame[]): Droppable[] {
  const all = [...new Set(frames.flatMap(({ shape }) => [...shape.groups]))].filter(isShared);
  return [
    ...all.map((group) => ({ groups: [group], frame: null })),
    ...frames.flatMap(({ shape }, frame) => [
      ...(shape.path !== 'none' ? [{ groups: MOVEMENT, frame }] : []),
      ...(shape.groups.has('rotation') && shape.groups.has('motion')
        ? [{ groups: ['rotation'] as Group[], frame }]
        : []),
      ...(shape.groups.has('core') ? [{ groups: ['core'] as Group[], frame }] : []),
    ]),
  ];
}

interface Weighed extends Droppable {
  /** Cost that the quadratic approximation loses without it, and how many parameters it has. */
  rise: number;
  size: number;
}

function weighed(joint: JointResult): Weighed[] {
  const { of, parameters, normal } = jointNormal(joint);
  const n = parameters.length;
  const covariance = invertSymmetric(normal, n);
  const theta = new Float64Array(n);
  joint.frames.forEach(({ state }, frame) =>
    of[frame].forEach((column) => (theta[column] = state.theta[parameters[column]])),
  );
  return droppables(joint.frames).map((drop) => {
    const wanted = new Set<number>(drop.groups.flatMap((group) => GROUPS[group].map((name) => P[name])));
    if (drop.groups === MOVEMENT) for (const path of [P.path1, P.path2]) wanted.add(path);
    const within = drop.frame === null ? of.flat() : of[drop.frame];
    const columns = [...new Set(within)].filter((column) => wanted.has(parameters[column]));
    const size = Math.max(1, columns.length);
    const block = Float64Array.from(columns.flatMap((a) => columns.map((b) => covariance?.[a * n + b] ?? 0)));
    const inverse = covariance && invertSymmetric(block, columns.length);
    const rise = columns.reduce(
      (sum, a, i) =>
        sum +
        columns.reduce(
          (part, b, j) => part + theta[a] * (inverse?.[i * columns.length + j] ?? 0) * theta[b],
          0,
        ),
      0,
    );
    return { ...drop, rise, size };
  });
}

const nameOf = ({ groups, frame }: Droppable) => `${groups.join()} ${frame}`;

/**
 * Backward elimination by refit over all frames together: what gains less than its parameters are worth leaves, least
 * needed first.
 */
export async function eliminateJointly(joint: JointResult, misfit: number): Promise<JointResult> {
  let best = joint;
  const attempt = async (drops: readonly Droppable[], parameters: number): Promise<boolean> => {
    const allowed = COST_PER_PARAMETER * misfit * parameters;
    const trial = await fitJointly(dropped(best.frames, drops), {
      iterations: DROP_ITERATIONS,
      tolerance: 1,
      goal: best.cost + 0.3 * allowed,
      giveUpAbove: best.cost + 12 * allowed,
    });
    if (priceOf(trial, misfit) >= priceOf(best, misfit)) return false;
    best = trial;
    return true;
  };
  const idle = weighed(best).filter(({ rise, size }) => rise < SURELY_IDLE * size);
  if (idle.length > 1)
    await attempt(
      idle,
      idle.reduce((sum, { size }) => sum + size, 0),
    );
  const kept = new Set<string>();
  for (;;) {
    const [next] = weighed(best)
      .filter((drop) => !kept.has(nameOf(drop)) && drop.rise < SURELY_NEEDED * drop.size * misfit)
      .sort((a, b) => a.rise / a.size - b.rise / b.size);
    if (!next) return best;
    if (!(await attempt([next], next.size))) kept.add(nameOf(next));
  }
}
