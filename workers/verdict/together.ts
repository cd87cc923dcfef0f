import { FAMILY } from '../fit/causes.ts';
import type { Verdict, BudgetEntry, BudgetPart, Cause, CauseEntry } from '../protocol/report.ts';
import { BUDGET_PARTS } from '../protocol/report.ts';
import type { Judgement } from './verdict.ts';

/** One frame of several: what it said by itself, and what it says with the others. */
export interface JudgedFrame {
  file: string;
  alone: Judgement;
  together: Judgement;
}

const mean = (values: readonly number[]) => values.reduce((sum, value) => sum + value, 0) / values.length;

/** The verdict of most frames; of those that agree the first. Where as many say something else, the first frame's. */
export function commonVerdict(frames: readonly JudgedFrame[]): Verdict {
  const votes = (cause: Cause) => frames.filter(({ together }) => together.verdict.cause === cause).length;
  const leader = frames.reduce((best, frame) =>
    votes(frame.together.verdict.cause) > votes(best.together.verdict.cause) ? frame : best,
  );
  const { verdict } = leader.together;
  if (verdict.decider?.experiment !== 'more-frames') return verdict;
  // That was just done.
  const say = `Even ${frames.length} frames together cannot tell: expose longer, or point at a field with more stars.`;
  return { ...verdict, decider: { ...verdict.decider, do: say } };
}

/** Mean variances over the frames. */
export const commonBudget = (frames: readonly JudgedFrame[]): BudgetEntry[] =>
  frames[0].together.budget.map(({ where }, place) => ({
    where,
    variancePx2: Object.fromEntries(
      BUDGET_PARTS.map((part) => [
        part,
        mean(frames.map(({ together }) => together.budget[place].variancePx2[part])),
      ]),
    ) as Record<BudgetPart, number>,
  }));

/** Mean share of each cause over the frames, 0 where a frame has nothing of it; what all share has one error. */
export function commonCauses(frames: readonly JudgedFrame[]): CauseEntry[] {
  const names = new Set(frames.flatMap(({ together }) => together.causes.map(({ cause }) => cause)));
  return [...names]
    .map((cause): CauseEntry => {
      const own = frames.flatMap(
        ({ together }) => together.causes.find((entry) => entry.cause === cause) ?? [],
      );
      const share = own.reduce((sum, { cornerShare }) => sum + cornerShare.value, 0) / frames.length;
      return {
        cause,
        family: FAMILY[cause],
        cornerShare: { value: share, sigma: mean(own.map(({ cornerShare }) => cornerShare.sigma)) },
        significance: Math.max(...own.map(({ significance }) => significance)),
        cornerFwhmWithoutPx: mean(own.map(({ cornerFwhmWithoutPx }) => cornerFwhmWithoutPx)),
      };
    })
    .sort((a, b) => b.cornerShare.value - a.cornerShare.value);
}

const NAMES: Record<Cause, string> = {
  coma: 'coma',
  collimation: 'coma off the middle',
  tilt: 'a leaning sensor',
  curvature: 'a curved focal surface',
  astigmatism: 'astigmatism',
  pinching: 'pinched optics',
  spherical: 'spherical aberration',
  focus: 'focus',
  trailing: 'movement',
  rotation: 'a turning field',
  seeing: 'air or shake',
  dispersion: 'colours spread by the air',
  clean: 'nothing worth fixing',
};
/** A share of the corners from which a cause is worth a word. */
const WORTH_A_WORD = 0.1;

const percent = (share: number) => `${Math.round(100 * share)} %`;
const list = (words: readonly string[]) =>
  words.length < 2 ? (words[0] ?? '') : `${words.slice(0, -1).join(', ')} and ${words.at(-1)}`;

/** What repeats, what does not, which frames differ: sentences for whoever stands at the telescope. */
export function notesOn(frames: readonly JudgedFrame[], verdict: Verdict): string[] {
  const count = frames.length;
  const notes = [beforeAndAfter(frames, verdict)];
  const repeating = commonCauses(frames).filter(
    ({ family, cornerShare, significance }) =>
      (family === 'optics' || family === 'focus') && cornerShare.value >= WORTH_A_WORD && significance >= 3,
  );
  notes.push(
    repeating.length > 0
      ? `What repeats in all ${count} frames belongs to the telescope: ${list(repeating.map(({ cause }) => NAMES[cause]))}.`
      : `Nothing repeats in all ${count} frames that would be worth fixing on the telescope.`,
  );
  notes.push(whatChanges(frames));
  const odd = frames.filter(({ together }) => together.verdict.cause !== verdict.cause);
  for (const { file, together } of odd) notes.push(`${file} differs: ${lower(together.verdict.headline)}`);
  return notes;
}

function beforeAndAfter([first, ...rest]: readonly JudgedFrame[], { cause, confidence }: Verdict): string {
  const { verdict: alone } = first.alone;
  const count = rest.length + 1;
  const before = `${first.file} by itself said ${NAMES[alone.cause]} (${percent(alone.confidence)} sure)`;
  if (alone.cause !== cause)
    return `${before}; ${count} frames together say ${NAMES[cause]} (${percent(confidence)} sure).`;
  const change = confidence - alone.confidence;
  if (Math.abs(change) < 0.03) return `${before}; ${count} frames together say the same, as surely.`;
  return `${before}; ${count} frames together say the same, ${change > 0 ? 'more' : 'less'} surely: ${percent(confidence)}.`;
}

function whatChanges(frames: readonly JudgedFrame[]): string {
  const blurs = frames.flatMap(({ together }) => together.model.roundBlurFwhmPx?.value ?? []);
  const trails = frames.map(({ together }) => {
    const { path, lengthPx } = together.model.motion;
    return path === 'none' ? 0 : (lengthPx?.value ?? 0);
  });
  const span = (values: number[]) => {
    const [low, high] = [Math.min(...values), Math.max(...values)].map((value) => value.toFixed(1));
    return low === high ? `${low} px` : `${low} to ${high} px`;
  };
  const moved = Math.max(...trails) > 0 ? `the stars moved by ${span(trails)}` : 'the stars moved in none';
  return `What each frame has for itself: round blur ${span(blurs)} wide, and ${moved}.`;
}

const lower = (sentence: string) => sentence.charAt(0).toLowerCase() + sentence.slice(1);
