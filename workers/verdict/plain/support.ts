import type { FieldFit } from '../../fit/field-fit.ts';
import { P } from '../../fit/parameters.ts';
import type { Estimate } from '../../protocol/report.ts';
import type { WeighedCause } from '../causes.ts';
import type { PlainLook } from './plain-look.ts';

/** Distortion that all stars must share to be called long: 1.1 times as long as wide. */
const STRETCHED = 0.1;
/** By this factor it must exceed what changes over the field. */
const OVER_VARYING = 2;
/** Standard errors that make a pattern of the plain look more than chance. */
const SEEN = 3;
/** Relative change of width over the field that is more than nothing. */
const LEAST_WIDTH = 0.03;
/** Distortion or comet shape that is more than nothing. */
const LEAST_SHAPE = 0.03;

/** Least share of the distortion that a motion promises: less, and something else in the model undoes it. */
const KEEPS = 0.5;
/** The same for a rotation, whose corners are promised and whose stars lie nearer. */
const ROTATION_KEEPS = 0.3;

/** More than chance, and more than `least`. */
export const seen = ({ value, sigma }: Estimate, least: number) =>
  Math.abs(value) > least && Math.abs(value) > SEEN * sigma;

/** All over the frame the stars are long by the same amount along the same line. */
export const stretchedAlike = (look: PlainLook): boolean =>
  seen(look.common, STRETCHED) && look.common.value > OVER_VARYING * look.varying;

/** Stars stretch along the radius: a field that turns stretches them across it. */
const awayFromCentre = ({ radial }: PlainLook) => radial.value > 0 && seen(radial, LEAST_SHAPE);

/**
 * A jump that sets two images of each star farther apart than they are wide: moments about the brighter one do not see
 * the other, so they cannot deny it.
 */
const jumpsApart = ({ path, theta }: Movement) =>
  path === 'jump' && Math.hypot(theta[P.motionX], theta[P.motionY]) > Math.exp(theta[P.lnBlur]);

type Movement = Pick<FieldFit, 'path' | 'theta'>;

/**
 * Whether the stars' shapes show what a cause must show, whatever the model says; `fit`: how the stars moved;
 * `totalPx2`: all variance in the corners. What every star shares in width alone (focus, spherical aberration,
 * colours) shows in no pattern and cannot be denied by one.
 */
export function isSupported(
  { key, cause, cornerVariancePx2 }: Pick<WeighedCause, 'key' | 'cause' | 'cornerVariancePx2'>,
  fit: Movement,
  totalPx2: number,
  look: PlainLook,
): boolean {
  // A line of length L adds L^2/12 along itself: its half trace over the whole is the distortion it must leave.
  const promised = cornerVariancePx2 / totalPx2;
  switch (key) {
    case 'tilt':
      return seen(look.slope, LEAST_WIDTH);
    case 'curvature':
      return seen(look.bowl, LEAST_WIDTH);
    case 'coma':
      return seen(look.commonComet, LEAST_SHAPE) || seen(look.radialComet, LEAST_SHAPE);
    case 'astigmatism':
      return look.varying > LEAST_SHAPE || seen(look.common, LEAST_SHAPE) || seen(look.radial, LEAST_SHAPE);
    case 'motion':
      if (jumpsApart(fit)) return true;
      return cause === 'rotation'
        ? look.varying > Math.max(LEAST_SHAPE, ROTATION_KEEPS * promised) && !awayFromCentre(look)
        : seen(look.common, Math.max(LEAST_SHAPE, KEEPS * promised));
    case 'pinching':
      // Three corners have no test in the second moments: where the physics fails they are the model's excuse.
      return false;
    default:
      return true;
  }
}
