import type { MeasuredStar } from '../../workers/measure/star.ts';
import { bootstrapError, median, spread } from '../statistics.ts';
import type { Bound } from './fisher.ts';
import { ANGLE_DEG, truthOf, type Case } from './frame.ts';
import type { IdealStar } from './ideal.ts';

/** A star of a frame as it was found and as it is. */
export interface Pair {
  truth: { xPx: number; yPx: number };
  star: MeasuredStar;
  /** Which frame of the case, and the place in its list of stars. */
  frame: number;
  index: number;
  /** What an ideal fit makes of the same pixels, where that was asked for. */
  ideal: IdealStar | null;
}

export interface Estimated {
  value: number;
  error: number;
}

/** Robust scatters over the Cramer-Rao bound. */
export interface OverBound {
  position: Estimated;
  fwhm: Estimated;
  e: Estimated;
}

export interface Row {
  wish: Case;
  found: number;
  of: number;
  bias: { fwhm: Estimated; hfd: Estimated; e: Estimated };
  overBound: OverBound;
  ideal: OverBound | null;
}

/** Errors of one star: px, px, relative, along and across the long axis. */
interface Errors {
  dx: number;
  dy: number;
  fwhm: number;
  along: number;
  across: number;
}

export function rowOf(wish: Case, pairs: Pair[], of: number, bound: Bound): Row {
  const truth = truthOf(wish);
  const [c, s] = [Math.cos((ANGLE_DEG * Math.PI) / 90), Math.sin((ANGLE_DEG * Math.PI) / 90)];
  const errors = pairs.map(({ star, truth: t }) => ({
    dx: star.xPx - t.xPx,
    dy: star.yPx - t.yPx,
    fwhm: star.fwhmPx / truth.fwhmPx - 1,
    along: star.e1 * c + star.e2 * s - truth.e,
    across: star.e2 * c - star.e1 * s,
  }));
  const ideal = pairs.flatMap((pair) => pair.ideal ?? []);
  // From before the pixel to behind it: the ideal fit's numbers are those of the star before the pixel.
  const { fwhm: widthThrough, e: eThrough } = bound.throughPixel;
  const idealErrors = ideal.map(({ dx, dy, lnWidth, along, across }) => ({
    dx,
    dy,
    fwhm: lnWidth * widthThrough,
    along: along * eThrough,
    across: across * eThrough,
  }));
  const biasOf = (values: number[]) => ({
    value: median(values),
    error: (1.2533 * spread(values)) / Math.sqrt(values.length),
  });
  return {
    wish,
    found: pairs.length,
    of,
    bias: {
      fwhm: biasOf(finite(errors.map(({ fwhm }) => fwhm))),
      hfd: biasOf(finite(pairs.map(({ star }) => star.hfdPx / truth.hfdPx - 1))),
      e: biasOf(finite(errors.map(({ along }) => along))),
    },
    overBound: overBound(errors, bound),
    ideal: ideal.length > 0 ? overBound(idealErrors, bound) : null,
  };
}

const finite = (values: number[]) => values.filter((value) => Number.isFinite(value));
const scatterAbout0 = (values: number[]) => 1.4826 * median(values.map(Math.abs));

function overBound(errors: Errors[], bound: Bound): OverBound {
  const column = (sample: Errors[], name: keyof Errors) => finite(sample.map((each) => each[name]));
  const estimated = (statistic: (sample: Errors[]) => number): Estimated => ({
    value: statistic(errors),
    error: bootstrapError(errors, statistic),
  });
  return {
    // About the truth, so that errors that depend on the place within the pixel count.
    position: estimated(
      (sample) =>
        Math.sqrt((scatterAbout0(column(sample, 'dx')) ** 2 + scatterAbout0(column(sample, 'dy')) ** 2) / 2) /
        bound.positionPx,
    ),
    fwhm: estimated((sample) => spread(column(sample, 'fwhm')) / bound.fwhm),
    e: estimated(
      (sample) =>
        Math.sqrt((spread(column(sample, 'along')) ** 2 + spread(column(sample, 'across')) ** 2) / 2) /
        bound.e,
    ),
  };
}
