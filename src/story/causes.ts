import type { OtherStory } from '../../workers/protocol/api.ts';
import type { RemovablePart } from '../../workers/protocol/model.ts';
import { REMOVABLE_PARTS } from '../../workers/protocol/model.ts';
import type { BudgetPart, Cause, CauseEntry, FrameReport } from '../../workers/protocol/report.ts';
import { count, plain } from '../format/quantity.ts';

/** Parts of the blur that a cause of the report stands for: it is judged with all of them together. */
export function partsOf(cause: Cause): RemovablePart[] {
  switch (cause) {
    case 'coma':
    case 'collimation':
      return ['coma', 'collimation'];
    case 'trailing':
    case 'rotation':
      return ['trailing', 'rotation'];
    case 'seeing':
      return ['roundBlur'];
    case 'dispersion':
    case 'clean':
      return [];
    default:
      return [cause];
  }
}

export const isRemovable = (part: BudgetPart): part is RemovablePart =>
  (REMOVABLE_PARTS as readonly BudgetPart[]).includes(part);

/** What to leave out first: the parts of the leading cause; none where the verdict is clean. */
export const leadingParts = ({ verdict }: Pick<FrameReport, 'verdict'>): RemovablePart[] =>
  verdict ? partsOf(verdict.cause) : [];

/** From here on chance hardly makes it, and from here on never (common practice, no source). */
const HARDLY = 3;
const NEVER = 6;
/** Chi squared that another explanation may cost more: exp(-gap / 2) is how much less likely it makes the stars. */
const AS_GOOD = 2;
const CLOSE = 9;
const FAR = 25;

/** How sure a cause is, in plain words: its size against its own error, and the best explanation that does without. */
export function evidenceOf({ significance }: CauseEntry, stars: number, instead: OtherStory | null): string {
  const times = significance < 10 ? plain(significance, 1) : count(significance);
  const seen =
    significance < HARDLY
      ? `The stars hardly ask for it: it is ${times} times its own error, which chance alone can make.`
      : `Seen in ${stars} stars, ${times} times as large as its own error: ${significance < NEVER ? 'hardly' : 'not'} by chance.`;
  return instead && significance >= HARDLY ? `${seen} ${insteadWords(instead)}` : seen;
}

function insteadWords({ cause, gap }: OtherStory): string {
  const other = STAND_INS[cause];
  if (gap < AS_GOOD) return `But without it, ${other} would explain the stars as well.`;
  if (gap < CLOSE)
    return `Without it, ${other} would explain the stars a little worse: it cannot be ruled out.`;
  return `The next best explanation, ${other}, fits the stars ${gap < FAR ? 'clearly' : 'far'} worse.`;
}

const STAND_INS: Record<Cause, string> = {
  clean: 'nothing at all',
  seeing: 'wider round blur',
  focus: 'defocus',
  tilt: 'a tilted sensor',
  curvature: 'a curved field',
  coma: 'coma',
  collimation: 'coma off the middle',
  astigmatism: 'astigmatism',
  pinching: 'pinched optics',
  spherical: 'spherical aberration',
  trailing: 'a moving mount',
  rotation: 'a turning field',
  dispersion: 'the colours of the air',
};
