import { choleskyFactor, choleskySolve } from '../../workers/math/linear.ts';
import { radialProfile } from '../../workers/simulate/profiles.ts';
import {
  ANGLE_DEG,
  fluxFor,
  OFFSET_ADU,
  READ_ELECTRONS,
  SKY_ELECTRONS,
  truthOf,
  type Case,
  type PrecisionFrame,
} from './frame.ts';

/** What the ideal fit finds of one star: the profile before the pixel. */
export interface IdealStar {
  dx: number;
  dy: number;
  /** Natural logarithm of the width over the true one. */
  lnWidth: number;
  /** Distortion along and across the true long axis, less the truth. */
  along: number;
  across: number;
}

const PARAMETERS = 7;
const ROUNDS = 40;
/** Gauss-Legendre rules of 3 and 5 points on [-1/2, 1/2]. */
const THREE = [
  [-0.3872983346207417, 5 / 18],
  [0, 8 / 18],
  [0.3872983346207417, 5 / 18],
];
const FIVE = [
  [-0.453089922969332, 0.1184634425280945],
  [-0.2692346550528416, 0.2393143352496832],
  [0, 0.2844444444444444],
  [0.2692346550528416, 0.2393143352496832],
  [0.453089922969332, 0.1184634425280945],
];

/**
 * Maximum likelihood with the true kind of profile, its true wings and the true noise, begun at the truth and run to the
 * end: flux, background, place, width and two distortions free, on all pixels of the star's cell. What it scatters
 * beyond the Cramer-Rao bound no free fit can avoid: there the light is too little for the bound, which is a law of
 * many photons. Null where no maximum was found (the flux or the width ran away).
 */
export function idealStar(wish: Case, frame: PrecisionFrame, index: number): IdealStar | null {
  const truth = truthOf(wish);
  const { xPx, yPx } = frame.stars[index];
  const half = (frame.cellPx - 1) / 2;
  const [cx, cy] = [Math.round(xPx), Math.round(yPx)];
  const pixels: { x: number; y: number; electrons: number }[] = [];
  for (let j = -half; j <= half; j++)
    for (let i = -half; i <= half; i++) {
      const [col, row] = [cx + i, cy + j];
      if (col < 0 || row < 0 || col >= frame.widthPx || row >= frame.heightPx) continue;
      if (wish.mosaic && ((col & 1) + (row & 1)) % 2 === 0) continue;
      const adu = frame.pixels[row * frame.widthPx + col];
      pixels.push({ x: i, y: j, electrons: (adu - OFFSET_ADU) * frame.gainElectronsPerAdu });
    }
  const flux = fluxFor(wish.snr, truth.fwhmPx, wish.mosaic ? 0.5 : 1);
  const e = (wish.axisRatio ** 2 - 1) / (wish.axisRatio ** 2 + 1);
  // Natural logarithms of flux and width; distortions along and across the true axis.
  const start = [Math.log(flux), SKY_ELECTRONS, xPx - cx, yPx - cy, 0, e, 0];
  const fixed = READ_ELECTRONS ** 2 + frame.gainElectronsPerAdu ** 2 / 12;
  const found = scoring(start, (at) => normalEquations(wish, pixels, at, fixed));
  return (
    found && {
      dx: found[2] - start[2],
      dy: found[3] - start[3],
      lnWidth: found[4],
      along: found[5] - e,
      across: found[6],
    }
  );
}

interface Normal {
  fisher: Float64Array;
  gradient: Float64Array;
  deviance: number;
}

/** Fisher scoring with halved steps until a step is a thousandth of a standard error. */
function scoring(start: number[], normalAt: (at: number[]) => Normal | null): number[] | null {
  let at = start;
  let here = normalAt(at);
  for (let round = 0; here && round < ROUNDS; round++) {
    const factor = choleskyFactor(here.fisher, PARAMETERS);
    if (!factor) return null;
    const step = choleskySolve(factor, here.gradient);
    const squared = step.reduce((sum, value, i) => sum + value * here!.gradient[i], 0);
    if (squared < 1e-6) return at;
    let share = Math.min(1, 0.7 / Math.max(Math.abs(step[0]), Math.abs(step[4])));
    let next: Normal | null = null;
    let trial = at;
    for (let tries = 0; tries < 12; tries++, share /= 2) {
      trial = at.map((value, i) => value + share * step[i]);
      next = normalAt(trial);
      if (next && next.deviance < here.deviance + 1e-9) break;
      next = null;
    }
    if (!next) return squared < 1e-2 ? at : null;
    [at, here] = [trial, next];
  }
  return null;
}

/**
 * Likelihood of photon counts to which read noise and rounding add as if they were photons too (Snyder, Hammoud & White
 * 1993, J. Opt. Soc. Am. A 10, 1014); null outside what is a star.
 */
function normalEquations(
  { profile, beta, fwhmPx }: Case,
  pixels: { x: number; y: number; electrons: number }[],
  [lnFlux, sky, dx, dy, lnWidth, along, across]: number[],
  fixedVariance: number,
): Normal | null {
  const size2 = along ** 2 + across ** 2;
  const width = fwhmPx * Math.exp(lnWidth);
  if (size2 > 0.95 || width < 0.15 || width > 6 * fwhmPx || sky < 0.2 * SKY_ELECTRONS) return null;
  const radial = radialProfile(profile, beta);
  const turn = (2 * ANGLE_DEG * Math.PI) / 180;
  const [c, s] = [Math.cos(turn), Math.sin(turn)];
  const [e1, e2] = [along * c - across * s, along * s + across * c];
  const root = Math.sqrt(1 - size2);
  // r² = (x² (1 - e1) + y² (1 + e1) - 2 x y e2) / root / width².
  const [qa, qb, qc] = [(1 - e1) / root, (1 + e1) / root, e2 / root].map((value) => value / width ** 2);
  const height = Math.exp(lnFlux) / width ** 2;
  const rule = width > 3 ? THREE : FIVE;
  const fisher = new Float64Array(PARAMETERS * PARAMETERS);
  const gradient = new Float64Array(PARAMETERS);
  let deviance = 0;
  const slope = new Float64Array(PARAMETERS);
  for (const pixel of pixels) {
    let [light, xs, ys, radialSum, e1s, e2s] = [0, 0, 0, 0, 0, 0];
    const far = (pixel.x - dx) ** 2 + (pixel.y - dy) ** 2 > (3 * width) ** 2;
    for (const [py, wy] of far ? MIDDLE : rule)
      for (const [px, wx] of far ? MIDDLE : rule) {
        const [x, y] = [pixel.x - dx + px, pixel.y - dy + py];
        const r2 = qa * x * x + qb * y * y - 2 * qc * x * y;
        const here = radial(r2);
        const step = 1e-3 * (r2 + 0.01);
        const fall =
          (wx * wy * (radial(r2 + step) - radial(Math.max(0, r2 - step)))) / (step + Math.min(step, r2));
        light += wx * wy * here;
        xs += fall * (qa * x - qc * y);
        ys += fall * (qb * y - qc * x);
        radialSum += fall * r2;
        // d r² / d e1 and e2 at the same area: the root's own change is e / (1 - e²) r².
        e1s += fall * ((y * y - x * x) / root / width ** 2 + (r2 * e1) / (1 - size2));
        e2s += fall * ((-2 * x * y) / root / width ** 2 + (r2 * e2) / (1 - size2));
      }
    const star = height * light;
    const variance = star + sky + fixedVariance;
    if (!(variance > 0)) return null;
    slope[0] = star;
    slope[1] = 1;
    slope[2] = -2 * height * xs;
    slope[3] = -2 * height * ys;
    slope[4] = -2 * star - 2 * height * radialSum;
    slope[5] = height * (e1s * c + e2s * s);
    slope[6] = height * (e2s * c - e1s * s);
    const rest = pixel.electrons - star - sky;
    deviance += 2 * (variance - (pixel.electrons + fixedVariance) * Math.log(variance));
    for (let i = 0; i < PARAMETERS; i++) {
      gradient[i] += (slope[i] * rest) / variance;
      for (let j = 0; j < PARAMETERS; j++) fisher[i * PARAMETERS + j] += (slope[i] * slope[j]) / variance;
    }
  }
  return { fisher, gradient, deviance };
}

const MIDDLE = [[0, 1]];
