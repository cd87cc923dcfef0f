import { blurBudget } from './budget.ts';
import { MODEL_CAUSES } from './causes.ts';
import type { ModelCause } from './causes.ts';
import { COST_PER_PARAMETER, without } from './eliminate.ts';
import type { Rival } from './field-fit.ts';
import { fitJointly } from './joint-fit.ts';
import type { JointFrame, JointResult } from './joint-fit.ts';
import { misfitOfFrames, MOVEMENT } from './joint-model.ts';
import type { Optics } from './optics.ts';
import { P } from './parameters.ts';
import type { Group, ModelShape } from './parameters.ts';
import { SEARCH_GROUPS } from './starts.ts';

/** What stands in for a missing cause needs a push off zero. */
const PUSH_PX = { focus: 0.4, motion: 0.5 };
/** A rival this far behind cannot win: its exact distance matters to nobody. */
const HOPELESS = 400;
const refitOf = (joint: JointResult) => ({
  iterations: 8,
  tolerance: 1,
  giveUpAbove: joint.cost + HOPELESS * misfitOfFrames(joint),
});

/**
 * Best explanations of all frames without the cause that weighs most in a frame's corners: for each frame its own list,
 * nearest first. Optics must go from all frames at once, movement only from the frame itself, whose neighbours still
 * hold its optics: that is what several frames know more than one.
 */
export async function jointRivals(
  joint: JointResult,
  frame: { optics: Optics; widthPx: number; heightPx: number },
): Promise<Rival[][]> {
  const leading = joint.frames.map(({ state, shape }) => leadingCause(state.theta, shape, frame));
  const known = new Map<string, Promise<JointResult[]>>();
  const rivals: Rival[][] = [];
  for (const [i, cause] of leading.entries()) {
    const name = cause?.key === 'motion' ? `motion ${i}` : (cause?.key ?? '');
    if (cause && !known.has(name))
      known.set(name, cause.key === 'motion' ? unmoved(joint, i) : withoutOptics(joint, cause));
    const trials = (await known.get(name)) ?? [];
    const scale = misfitOfFrames(joint);
    rivals.push(
      trials
        .map((trial): Rival => {
          const { shape, state } = trial.frames[i];
          const freedom = COST_PER_PARAMETER * (trial.parameters - joint.parameters);
          return {
            groups: [...shape.groups],
            path: shape.path,
            theta: [...state.theta],
            gap: (trial.cost - joint.cost) / scale + freedom,
            atLeast: trial.cost - joint.cost > HOPELESS * scale,
          };
        })
        .sort((a, b) => a.gap - b.gap),
    );
  }
  return rivals;
}

function leadingCause(
  theta: Float64Array,
  { path }: ModelShape,
  frame: { optics: Optics; widthPx: number; heightPx: number },
): ModelCause | null {
  const corners = blurBudget({ ...frame, theta, path, dispersionPx: { x: 0, y: 0 } }).find(
    ({ where }) => where === 'corners',
  )!.variancePx2;
  const weight = ({ parts }: ModelCause) => parts.reduce((sum, part) => sum + corners[part], 0);
  const [first] = [...MODEL_CAUSES].sort((a, b) => weight(b) - weight(a));
  return weight(first) > 0 ? first : null;
}

/** All frames without one cause of the optics, the others free: moving each for itself, and astigmatic in its place. */
async function withoutOptics(joint: JointResult, { groups, key }: ModelCause): Promise<JointResult[]> {
  const others = [...SEARCH_GROUPS, 'astigmatism' as const].filter((group) => !groups.includes(group));
  const variant = (moving: boolean) =>
    joint.frames.map((frame) => {
      const bare = without(frame.shape, groups);
      const added = new Set<Group>([...bare.groups, ...others]);
      const theta = frame.state.theta.slice();
      if (key !== 'focus') theta[P.focus] += PUSH_PX.focus;
      let { path } = bare;
      if (moving && path === 'none') {
        path = 'straight';
        added.add('motion');
        added.add('rotation');
        theta[P.motionX] = PUSH_PX.motion;
      }
      return { ...frame, shape: { groups: added, path }, state: { ...frame.state, theta } };
    });
  const refit = refitOf(joint);
  return [await fitJointly(variant(false), refit), await fitJointly(variant(true), refit)];
}

/** All frames as they are, but one that stands still; the optics may be anything that the others agree with. */
async function unmoved(joint: JointResult, still: number): Promise<JointResult[]> {
  const frames = joint.frames.map((frame, i): JointFrame => {
    const shape = i === still ? without(frame.shape, MOVEMENT) : frame.shape;
    const theta = frame.state.theta.slice();
    theta[P.focus] += PUSH_PX.focus;
    return {
      ...frame,
      shape: { ...shape, groups: new Set<Group>([...shape.groups, ...SEARCH_GROUPS, 'astigmatism']) },
      state: { ...frame.state, theta },
    };
  });
  return [await fitJointly(frames, refitOf(joint))];
}
