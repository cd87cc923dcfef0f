import type { FieldFit } from './field-fit.ts';
import { repeats } from './joint-fit.ts';
import type { JointFrame } from './joint-fit.ts';
import { isShared, MOVEMENT, OWN } from './joint-model.ts';
import { P } from './parameters.ts';
import type { Group, PathKind } from './parameters.ts';
import { SEARCH_GROUPS } from './starts.ts';

/** A push off zero: a trail of no length answers to nothing, and a defocus of none neither. */
const FIRST_TRAIL_PX = [0.5, 0.3];
const FIRST_SPOT_PX = { focus: 0.15, tiltX: 0.1, tiltY: 0.07, curvature: 0.1 } as const;
/** Other explanations of a frame that cost this much more need no hearing. */
const NEAR = 100;
const MOST_STORIES = 6;

/** One explanation of one frame: of its own fit, or a rival that came close. */
interface Story {
  groups: readonly Group[];
  path: PathKind;
  theta: readonly number[];
}

/** What a joint fit starts from. */
export interface FrameAlone {
  single: FieldFit;
  frame: JointFrame;
}

/** Distinct explanations of the optics that the frames found by themselves, own ones first. */
function stories(alone: readonly FrameAlone[]): Story[] {
  const own: Story[] = alone.map(({ single }) => single);
  const near: Story[] = alone.flatMap(({ single }) =>
    single.rivals.filter(({ gap, atLeast }) => gap < NEAR && !atLeast),
  );
  const seen = new Set<string>();
  return [...own, ...near]
    .filter((story) => {
      const name = [...story.groups].filter(isShared).sort().join();
      return seen.has(name) ? false : seen.add(name);
    })
    .slice(0, MOST_STORIES);
}

/** How the frames may move in a start: as each found, none at all, or all that found nothing pushed off. */
type Moving = 'own' | 'none' | 'all';

function framesOf({ groups, theta }: Story, alone: readonly FrameAlone[], moving: Moving): JointFrame[] {
  const shared = groups.filter(isShared);
  return alone.map(({ single, frame }) => {
    const own = single.groups.filter((group) => OWN.includes(group));
    const set = new Set<Group>([...shared, ...own]);
    const values = frame.state.theta.map((value, parameter) =>
      repeats(parameter) ? theta[parameter] : value,
    );
    let { path } = single;
    if (moving === 'none') {
      for (const group of MOVEMENT) set.delete(group);
      path = 'none';
    } else if (moving === 'all' && path === 'none') {
      path = 'straight';
      set.add('motion');
      [values[P.motionX], values[P.motionY]] = FIRST_TRAIL_PX;
    }
    return { ...frame, shape: { groups: set, path }, state: { ...frame.state, theta: values } };
  });
}

/** Starts of the joint fit: every explanation of the optics, with the frames moving in the ways that it leaves open. */
export function jointStarts(alone: readonly FrameAlone[]): JointFrame[][] {
  const moves = alone.some(({ single }) => single.path !== 'none');
  const still = alone.some(({ single }) => single.path === 'none');
  return stories(alone).flatMap((story) => {
    const astigmatic = story.groups.includes('astigmatism');
    const ways: Moving[] = ['own'];
    if (still && (moves || astigmatic)) ways.push('all');
    if (moves && astigmatic) ways.push('none');
    return ways.map((moving) => framesOf(story, alone, moving));
  });
}

/** The frames with every term of the optics free, those that stood at nothing pushed off it. */
export function withAllOptics(frames: readonly JointFrame[]): JointFrame[] {
  const wanted: Group[] = [...SEARCH_GROUPS, 'astigmatism'];
  return frames.map((frame) => {
    const { groups, path } = frame.shape;
    const theta = frame.state.theta.slice();
    for (const [name, value] of Object.entries(FIRST_SPOT_PX))
      if (theta[P[name as 'focus']] === 0) theta[P[name as 'focus']] = value;
    return {
      ...frame,
      shape: { groups: new Set<Group>([...groups, ...wanted]), path },
      state: { ...frame.state, theta },
    };
  });
}
