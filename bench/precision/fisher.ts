import { choleskyFactor, choleskySolve } from '../../workers/math/linear.ts';
import { createRandom } from '../../workers/simulate/random.ts';
import {
  ANGLE_DEG,
  fluxFor,
  READ_ELECTRONS,
  seenDistortion,
  SKY_ELECTRONS,
  starTemplate,
  truthOf,
  type Case,
} from './frame.ts';

/** Smallest standard errors that any unbiased measurement can reach. */
export interface Bound {
  positionPx: number;
  /** Of the width as seen through the pixel, relative. */
  fwhm: number;
  /** Of each component of the distortion as seen through the pixel. */
  e: number;
  /** Relative change of the width, and change of the distortion, behind the pixel for one before it. */
  throughPixel: { fwhm: number; e: number };
}

const PARAMETERS = 7;
const PHASES = 12;

/**
 * Cramer-Rao bound for one star of a case: the inverse of the Fisher matrix sum (dI/dp dI/dq) / variance over the
 * pixels, for flux, background, x, y, width and two components of the distortion, all unknown, the profile's kind and
 * wings known. Derivatives by central differences of the pixel-integrated picture. Photon noise of the star and the sky,
 * read noise, rounding (gain² / 12). Coarse pixels tell more of some places than of others: what is returned is the robust
 * scatter of stars at all places, each as good as its own bound, since that is the statistic it is held against.
 */
export function cramerRao(wish: Case, gainElectronsPerAdu: number): Bound {
  const truth = truthOf(wish);
  const share = wish.mosaic ? 0.5 : 1;
  const flux = fluxFor(wish.snr, truth.fwhmPx, share);
  const side = 2 * Math.ceil(Math.max(13, 4.5 * wish.fwhmPx)) + 1;
  const e = (wish.axisRatio ** 2 - 1) / (wish.axisRatio ** 2 + 1);
  const angle = (2 * ANGLE_DEG * Math.PI) / 180;
  const at = [0, 0, wish.fwhmPx, e * Math.cos(angle), e * Math.sin(angle)];
  const h = [0.01, 0.01, 0.01 * wish.fwhmPx, 0.01, 0.01];
  const picture = (dx: number, dy: number, fwhmPx: number, e1: number, e2: number) => {
    const size = Math.hypot(e1, e2);
    const shape = {
      profile: wish.profile,
      beta: wish.beta,
      fwhmPx,
      axisRatio: Math.sqrt((1 + size) / (1 - size)),
      angleDeg: (Math.atan2(e2, e1) * 90) / Math.PI,
    };
    return starTemplate(shape, side, dx, dy);
  };
  const random = createRandom(7);
  const sigmas = { x: [] as number[], fwhm: [] as number[], e: [] as number[] };
  for (let n = 0; n < PHASES; n++) {
    const here = [...at];
    here[0] = random.uniform() - 0.5;
    here[1] = random.uniform() - 0.5;
    const call = (p: number[]) => picture(p[0], p[1], p[2], p[3], p[4]);
    const star = call(here);
    const slopes = h.map((step, i) => {
      const moved = (sign: number) => call(here.map((value, j) => (i === j ? value + sign * step : value)));
      const [up, down] = [moved(1), moved(-1)];
      return up.map((value, pixel) => (flux * (value - down[pixel])) / (2 * step));
    });
    const columns = [star, star.map(() => 1), ...slopes];
    const fisher = new Float64Array(PARAMETERS * PARAMETERS);
    for (let pixel = 0; pixel < star.length; pixel++) {
      // The greens of a mosaic lie on every second pixel of each row, and the star anywhere among them.
      if (wish.mosaic && ((pixel % side) + Math.floor(pixel / side) + n) % 2 === 0) continue;
      const noise = flux * star[pixel] + SKY_ELECTRONS + READ_ELECTRONS ** 2 + gainElectronsPerAdu ** 2 / 12;
      for (let i = 0; i < PARAMETERS; i++)
        for (let j = 0; j < PARAMETERS; j++)
          fisher[i * PARAMETERS + j] += (columns[i][pixel] * columns[j][pixel]) / noise;
    }
    const covariance = inverseDiagonal(fisher);
    sigmas.x.push(Math.sqrt((covariance[2] + covariance[3]) / 2));
    sigmas.fwhm.push(Math.sqrt(covariance[4]));
    sigmas.e.push(Math.sqrt((covariance[5] + covariance[6]) / 2));
  }
  // From before the pixel to behind it.
  const wider = truthOf({ ...wish, fwhmPx: wish.fwhmPx * 1.01 }).fwhmPx;
  const growth = (wider - truth.fwhmPx) / (0.01 * wish.fwhmPx);
  const rounding = (seenDistortion(wish.fwhmPx, e + 1e-4) - seenDistortion(wish.fwhmPx, e - 1e-4)) / 2e-4;
  return {
    positionPx: robustScatterOf(sigmas.x),
    fwhm: (robustScatterOf(sigmas.fwhm) * growth) / truth.fwhmPx,
    e: robustScatterOf(sigmas.e) * rounding,
    throughPixel: { fwhm: (growth * wish.fwhmPx) / truth.fwhmPx, e: rounding },
  };
}

/** 1.4826 times the median of |x| over normal distributions with these standard deviations, equally many of each. */
export function robustScatterOf(sigmas: number[]): number {
  let [low, high] = [Math.min(...sigmas), Math.max(...sigmas)];
  for (let step = 0; step < 40; step++) {
    const middle = (low + high) / 2;
    const within = sigmas.reduce((sum, sigma) => sum + shareWithin((QUARTILE * middle) / sigma), 0);
    if (within < sigmas.length / 2) low = middle;
    else high = middle;
  }
  return low;
}

/** The normal distribution's upper quartile: 1 / 1.4826. */
const QUARTILE = 0.6744897501960817;

/** Share of a normal distribution within z standard deviations; Abramowitz & Stegun 7.1.26, to 1.5e-7. */
function shareWithin(z: number): number {
  const x = z / Math.SQRT2;
  const t = 1 / (1 + 0.3275911 * x);
  const series = [1.061405429, -1.453152027, 1.421413741, -0.284496736, 0.254829592];
  return 1 - series.reduce((sum, c) => (sum + c) * t, 0) * Math.exp(-x * x);
}

/** Diagonal of the inverse; the rows are scaled first, since a flux and a distortion differ by many powers of ten. */
function inverseDiagonal(matrix: Float64Array): number[] {
  const n = PARAMETERS;
  const scale = Array.from({ length: n }, (_, i) => Math.sqrt(matrix[i * n + i]));
  const scaled = matrix.map((value, k) => value / (scale[Math.floor(k / n)] * scale[k % n]));
  const factor = choleskyFactor(scaled, n);
  if (!factor) throw new Error('the Fisher matrix is singular');
  return scale.map((s, i) => {
    const unit = new Float64Array(n);
    unit[i] = 1;
    return choleskySolve(factor, unit)[i] / s ** 2;
  });
}
