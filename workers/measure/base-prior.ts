import { commonScatter, HUBER, median } from '../math/robust.ts';
import type { BasePrior, Profile } from './profile.ts';
import type { Target } from './star.ts';

/** A star that was fitted with a free background. */
export interface FreeFit {
  target: Target;
  profile: Profile;
}

/** What the frame's stars say of their backgrounds: base = offset sigma + perHeight A, and how far they stray from it. */
interface Usual {
  /** In units of the sky's noise. */
  offset: number;
  /** Of the star's height: what the profile's wings leave to the background. */
  perHeight: number;
  /** Variance of single stars about that, in units of the sky's noise squared and of the height squared. */
  variance: number;
  heightVariance: number;
  /** Variances and covariance of offset and perHeight. */
  errors: { offset: number; both: number; perHeight: number };
  /** Roughness of the sky mesh, in units of its noise. */
  roughness: number;
}

const FEWEST_STARS = 12;
const ROUNDS = 5;
/** Standard error of a median of nine over that of each: sqrt(pi / 2 / 9). */
export const MEDIAN_OF_NINE = 0.418;
/** A background so many standard errors from the expected one is no such background: the star is fitted by itself. */
const MOST_STRAY_SIGMAS = 3;

/**
 * What is known of a star's background before it is fitted. The pixels about one star tell it poorly, the wider the
 * wings the more (a free background costs a quarter of the width's precision at beta 3); the sky mesh rests on some
 * thousand pixels. How far stars stray from the mesh is taken from bright and middling stars that were fitted freely;
 * where the mesh is rougher than usual (nebulosity, a bright star's halo) the background is trusted less.
 */
export class BaseExpectation {
  private readonly usual: Usual | null;

  constructor(fits: FreeFit[]) {
    this.usual = fits.length < FEWEST_STARS ? null : usualOf(fits);
  }

  /** Undefined where nothing is known. */
  at({ sigma, roughness, heightGuess }: Target): BasePrior | undefined {
    const { usual } = this;
    if (!usual) return undefined;
    const excess = Math.max(0, (roughness / sigma) ** 2 - usual.roughness ** 2);
    const { offset, both, perHeight } = usual.errors;
    const height = heightGuess / sigma;
    const line = offset + 2 * both * height + perHeight * height ** 2;
    const variance = usual.variance + usual.heightVariance * height ** 2 + excess + line;
    const certainty = 1 / (variance * sigma ** 2);
    return certainty > 0 && certainty < Infinity
      ? { expected: usual.offset * sigma, perHeight: usual.perHeight, certainty }
      : undefined;
  }
}

/** Whether a fit strayed from its prior further than both allow: (r / sigma)² of the free background's distance. */
export function strays({ amplitude, base, errors }: Profile, prior: BasePrior): boolean {
  const { expected, perHeight, certainty } = prior;
  const distance = base - expected - perHeight * amplitude;
  const left = errors.base - 2 * perHeight * errors.amplitudeBase + perHeight ** 2 * errors.amplitude;
  return distance ** 2 > MOST_STRAY_SIGMAS ** 2 * (1 / certainty - left);
}

/** Huber's regression of the backgrounds on the heights; faint stars tell the scatter of the sky, bright ones the wings'. */
function usualOf(fits: FreeFit[]): Usual | null {
  const x = fits.map(({ target, profile }) => profile.amplitude / target.sigma);
  const y = fits.map(({ target, profile }) => profile.base / target.sigma);
  const own = fits.map(({ target, profile }) => profile.errors.base / target.sigma ** 2);
  const roughness = median(fits.map(({ target }) => target.roughness / target.sigma));
  const least = (MEDIAN_OF_NINE * roughness) ** 2;
  const middle = median(x);
  const faint = [...x.keys()].filter((i) => x[i] <= middle);
  const bright = [...x.keys()].filter((i) => x[i] > middle);
  if (bright.length < 3) return null;
  let [offset, perHeight, variance, heightVariance] = [median(y), 0, least, 0];
  let errors = { offset: 0, both: 0, perHeight: 0 };
  for (let round = 0; round < ROUNDS; round++) {
    const sums = { w: 0, x: 0, xx: 0, y: 0, xy: 0 };
    x.forEach((height, i) => {
      const all = own[i] + variance + heightVariance * height ** 2;
      const standard = Math.abs(y[i] - offset - perHeight * height) / Math.sqrt(all);
      const weight = (standard > HUBER ? HUBER / standard : 1) / all;
      sums.w += weight;
      sums.x += weight * height;
      sums.xx += weight * height ** 2;
      sums.y += weight * y[i];
      sums.xy += weight * height * y[i];
    });
    const det = sums.w * sums.xx - sums.x ** 2;
    if (!(det > 0)) return null;
    offset = (sums.xx * sums.y - sums.x * sums.xy) / det;
    perHeight = (sums.w * sums.xy - sums.x * sums.y) / det;
    errors = { offset: sums.xx / det, both: -sums.x / det, perHeight: sums.w / det };
    const rest = x.map((height, i) => y[i] - offset - perHeight * height);
    const scatterOf = (members: number[], scale: (i: number) => number, variances: (i: number) => number) =>
      commonScatter(
        members.map((i) => rest[i] / scale(i)),
        members.map((i) => variances(i) / scale(i) ** 2),
        0,
        members.length - 1,
      );
    variance = Math.max(
      least,
      scatterOf(
        faint,
        () => 1,
        (i) => own[i] + heightVariance * x[i] ** 2,
      ),
    );
    heightVariance = scatterOf(
      bright,
      (i) => x[i],
      (i) => own[i] + variance,
    );
  }
  return { offset, perHeight, variance, heightVariance, errors, roughness };
}
