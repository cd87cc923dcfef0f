import { elongationOf } from '../../math/shape.ts';
import type { Cause } from '../../protocol/report.ts';
import type { PlainLook } from './plain-look.ts';
import { seen, stretchedAlike } from './support.ts';

/** What the shapes say by themselves, what it may be instead, and the sentence behind "Likely" or "Perhaps". */
export interface Finding {
  cause: Cause;
  rival: Cause;
  sentence: string;
}

/** Change of width over the field worth a word, as WORTH_NAMING has it: 15 %. */
const WIDER = 0.14;
/** Distortion along the radius that grows to this in the corners: 1.15 times as long as wide. */
const RADIAL = 0.14;
/** Comet shape in the corners that is seen as a tail. */
const TAILED = 0.1;

/** The pattern that stands out most, in the order in which one sees them; null where none does. */
export function findingOf(look: PlainLook): Finding | null {
  const { common, slope, bowl, radial, radialComet } = look;
  // A straight law of logarithms carries no further.
  const percent = ({ value }: { value: number }) =>
    Math.abs(value) > Math.LN2 ? 'over 100 %' : `${Math.round((Math.exp(Math.abs(value)) - 1) * 100)} %`;
  if (stretchedAlike(look))
    return {
      cause: 'trailing',
      rival: 'astigmatism',
      sentence: `the stars moved during the exposure: all over the frame they are ${elongationOf(Math.min(common.value, 0.95)).toFixed(1)} times as long as wide, along the same line.`,
    };
  const bent = seen(bowl, WIDER);
  if (seen(slope, WIDER) && slope.value > Math.abs(bent ? bowl.value : 0))
    return {
      cause: 'tilt',
      rival: 'curvature',
      sentence: `one side is out of focus: stars get ${percent(slope)} wider from the middle towards one corner.`,
    };
  const tails = radialComet.value > 0 && seen(radialComet, TAILED);
  if (bent)
    return {
      cause: tails ? 'coma' : 'curvature',
      rival: tails ? 'curvature' : 'coma',
      sentence: `the optics: stars get ${percent(bowl)} ${bowl.value > 0 ? 'wider' : 'narrower'} from the middle to the corners${tails ? ', with tails away from the middle' : ''}.`,
    };
  if (seen(radial, RADIAL))
    return {
      cause: radial.value > 0 ? 'coma' : 'rotation',
      rival: 'astigmatism',
      sentence:
        radial.value > 0
          ? 'the optics: stars stretch away from the middle.'
          : 'the field turned: stars stretch around the middle.',
    };
  return null;
}
