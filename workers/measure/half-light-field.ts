import { robustRegression, type Regression } from '../math/regression.ts';
import { commonScatter, robustSigma } from '../math/robust.ts';
import { NOT_FOR_SHAPE } from '../protocol/flags.ts';
import type { Plane } from '../wasm/plane.ts';
import { HALO_LEVER, type Halo } from './growth.ts';
import type { HalfLight } from './half-light.ts';
import type { MeasuredStar } from './star.ts';

interface Place {
  xPx: number;
  yPx: number;
}

interface Normal {
  value: number;
  variance: number;
}

interface Known {
  star: MeasuredStar;
  halfLight: HalfLight;
}

/** How the logarithm of pixels' over profile's diameter runs over the frame. */
interface MisfitField {
  at: (place: Place, photons: number) => Normal;
  /** Variance of single stars about that. */
  scatter: number;
}

/** Constant, brightness, then first and second order in x and y; so many stars for each. */
const TERMS = [7, 4, 2, 1];
const STARS_PER_TERM = 5;
/** So many of the brightest tell it, and as many of all others. */
const MOST_STARS = 200;
const ROUNDS = 3;
/** What is known beforehand of the change with ln (1 + photons): a misfit is some per cent, and so is what weights move it by. */
const PHOTONS_SIGMA = 0.02;
/** A star so many standard errors from what the field expects is another kind of light: it keeps what its pixels say. */
const MOST_STRAY_SIGMAS = 3;

/**
 * Half-flux diameters of a frame's stars from their profiles and their pixels together. A profile's is as well known as its
 * width; one counted from the pixels has the noise of all the sky in the aperture, at a signal to noise of 10 twice as
 * much. But no profile is a comet or a ring. So the logarithm of the one over the other is told by the frame: a surface
 * over the sensor and the variance of single stars about it. Each star's own is drawn to that as far as its noise
 * explains the difference (empirical Bayes: James & Stein 1961): faint stars have their own profile's width with
 * what the profile misses about there, bright ones what their pixels say.
 */
export function combineHalfLight(
  samples: { star: MeasuredStar; halfLight: HalfLight | null }[],
  plane: Plane,
  halo: Halo,
): void {
  const known = samples.flatMap(({ star, halfLight }) => (halfLight ? { star, halfLight } : []));
  const field = fieldOf(known, plane);
  for (const { star, halfLight } of known) {
    const { value, variance } = misfitOf(star, halfLight, field);
    star.hfdPx = halfLight.profilePx * Math.exp(value);
    star.hfdSigmaPx =
      star.hfdPx * Math.sqrt(halfLight.profileVariance + variance + (HALO_LEVER * halo.sigma) ** 2);
  }
}

function misfitOf(star: Place, halfLight: HalfLight, field: MisfitField | null): Normal {
  const { misfit, misfitVariance, photons } = halfLight;
  const own = { value: misfit, variance: misfitVariance };
  if (!field) return own;
  const { scatter } = field;
  const usual = field.at(star, photons);
  const off = misfit - usual.value;
  if (off ** 2 > MOST_STRAY_SIGMAS ** 2 * (misfitVariance + scatter + usual.variance)) return own;
  const share = scatter > 0 ? scatter / (scatter + misfitVariance) : 0;
  return {
    value: usual.value + share * off,
    variance: share * misfitVariance + (1 - share) ** 2 * usual.variance,
  };
}

/** Null where too few stars tell it. */
function fieldOf(known: Known[], { widthPx, heightPx }: Plane): MisfitField | null {
  const usable = telling(known);
  const terms = TERMS.find((count) => usable.length >= STARS_PER_TERM * count);
  if (!terms) return null;
  const rowAt = ({ xPx, yPx }: Place, photons: number) => {
    const [u, v] = [xPx / widthPx - 0.5, yPx / heightPx - 0.5];
    return [1, Math.log1p(photons), u, v, u * u, u * v, v * v].slice(0, terms);
  };
  const rows = usable.map(({ star, halfLight }) => rowAt(star, halfLight.photons));
  const values = usable.map(({ halfLight }) => halfLight.misfit);
  const variances = usable.map(({ halfLight }) => halfLight.misfitVariance);
  let scatter = robustSigma(values) ** 2;
  let regression: Regression | null = null;
  for (let round = 0; round < ROUNDS; round++) {
    regression = regressionOf(rows, values, variances, scatter);
    if (!regression) return null;
    const { coefficients } = regression;
    const rest = values.map((value, i) => value - dot(rows[i], coefficients));
    scatter = commonScatter(rest, variances, 0, usable.length - terms);
  }
  const { coefficients, covariance } = regression!;
  return {
    scatter,
    at: (place, photons) => {
      const row = rowAt(place, photons);
      let variance = 0;
      for (let i = 0; i < terms; i++) {
        let reach = 0;
        for (let j = 0; j < terms; j++) reach += row[j] * covariance[i * terms + j];
        variance += row[i] * reach;
      }
      return { value: dot(row, coefficients), variance };
    },
  };
}

/** The brightest stars that may be trusted, and some of all the others. */
function telling(known: Known[]): Known[] {
  const sorted = known
    .filter(({ star }) => !(star.flags & NOT_FOR_SHAPE))
    .sort((a, b) => b.star.snr - a.star.snr);
  const every = Math.max(1, Math.ceil((sorted.length - MOST_STARS) / MOST_STARS));
  return sorted.filter((_, i) => i < MOST_STARS || i % every === 0);
}

/** Each row over its standard error, and what is known of the brightness beforehand as one row more. */
function regressionOf(
  rows: number[][],
  values: number[],
  variances: number[],
  scatter: number,
): Regression | null {
  const terms = rows[0].length;
  const count = rows.length + (terms > 1 ? 1 : 0);
  const whitened = new Float64Array(count * terms);
  const right = new Float64Array(count);
  rows.forEach((row, i) => {
    const sigma = Math.sqrt(variances[i] + scatter) || 1;
    for (let term = 0; term < terms; term++) whitened[i * terms + term] = row[term] / sigma;
    right[i] = values[i] / sigma;
  });
  if (terms > 1) whitened[rows.length * terms + 1] = 1 / PHOTONS_SIGMA;
  return robustRegression(whitened, right, terms);
}

function dot(row: number[], column: ArrayLike<number>): number {
  let sum = 0;
  for (let i = 0; i < row.length; i++) sum += row[i] * column[i];
  return sum;
}
