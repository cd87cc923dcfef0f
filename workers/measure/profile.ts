import type { Moments } from '../math/shape.ts';
import type { Workspace } from './workspace.ts';

/**
 * One star's fitted profile I = A (1 + k q)^(-1/k) + B with q = a dx² + 2 c dx dy + b dy², stored units, positions
 * from the middle of the gathered pixels. k is the wing exponent of the frame (1/beta of Moffat's profile).
 */
export interface Profile {
  amplitude: number;
  base: number;
  dx: number;
  dy: number;
  a: number;
  b: number;
  c: number;
  k: number;
  /** Row-major 7 x 7 in the order A, B, dx, dy, a, b, c. */
  covariance: Float64Array;
  chi2PerDof: number;
  /** chi² + sum of ln variance: minus twice the log-likelihood up to a constant. */
  deviance: number;
}

export interface PixelNoise {
  /** Variance of sky and read noise, stored units squared. */
  skyVariance: number;
  /** Stored units that one electron makes. */
  unitsPerElectron: number;
}

const ITERATIONS = 12;
const LOST = 1;

/** q of the half-height contour. */
const halfHeight = (k: number) => (2 ** k - 1) / k;

/** Parameters a, b, c of a profile with wing exponent k whose half-height contour is that of a Gaussian of `shape`. */
export function startCurvature(shape: Moments, k: number): [number, number, number] {
  const det = shape.xx * shape.yy - shape.xy ** 2;
  // A Gaussian falls to half at (x' M^-1 x) = 2 ln 2.
  const scale = halfHeight(k) / (2 * Math.LN2) / det;
  return [shape.yy * scale, shape.xx * scale, -shape.xy * scale];
}

/**
 * Fits the gathered pixels, starting from `shape` at (dx, dy). Maximum likelihood for the noise given; the background
 * is free. Null when the fit runs out of bounds.
 */
export function fitProfile(
  space: Workspace,
  count: number,
  start: { amplitude: number; dx: number; dy: number; shape: Moments },
  k: number,
  noise: PixelNoise,
): Profile | null {
  const { run, arena } = space.kernels;
  const [a, b, c] = startCurvature(start.shape, k);
  arena.f64(space.params, 7).set([start.amplitude, 0, start.dx, start.dy, a, b, c]);
  const status = run.fitProfile(
    space.list,
    space.capacity,
    count,
    space.nodes,
    space.nodeCount,
    k,
    noise.skyVariance,
    noise.unitsPerElectron,
    ITERATIONS,
    space.params,
    space.covariance,
    space.fit,
    space.work,
  );
  if (status === LOST) return null;
  const p = arena.f64(space.params, 7);
  const [chi2PerDof, deviance] = arena.f64(space.fit, 3);
  return {
    amplitude: p[0],
    base: p[1],
    dx: p[2],
    dy: p[3],
    a: p[4],
    b: p[5],
    c: p[6],
    k,
    covariance: arena.f64(space.covariance, 49).slice(),
    chi2PerDof,
    deviance,
  };
}

/**
 * The profile as seen through the pixel, when it was fitted as before the pixel: the pixel adds 1/12 px² to each axis
 * of the second moments (handbook of widths: Bertin & Arnouts 1996), here to those of the Gaussian with the same
 * half-height contour; flux and relative errors stay. Good to a few per cent of the width; `calibrateWidths` does the
 * rest.
 */
export function seenProfile(space: Workspace, profile: Profile): Profile {
  if (space.nodeCount === 1) return profile;
  const { a, b, c, k } = profile;
  const det = a * b - c * c;
  const scale = halfHeight(k) / (2 * Math.LN2);
  const shape = { xx: (b * scale) / det + 1 / 12, yy: (a * scale) / det + 1 / 12, xy: (-c * scale) / det };
  const [wideA, wideB, wideC] = startCurvature(shape, k);
  const wideDet = wideA * wideB - wideC ** 2;
  // Errors of the curvature shrink with the curvature's own change, d(a')/d(a) = (a'/a)² for a wider star.
  const shrink = wideDet / det;
  const covariance = profile.covariance.slice();
  for (let i = 0; i < 7; i++)
    for (let j = 0; j < 7; j++) covariance[i * 7 + j] *= (i >= 4 ? shrink : 1) * (j >= 4 ? shrink : 1);
  return {
    ...profile,
    amplitude: profile.amplitude * Math.sqrt(wideDet / det),
    a: wideA,
    b: wideB,
    c: wideC,
    covariance,
  };
}

export interface ProfileShape {
  fwhmPx: number;
  fwhmSigmaPx: number;
  e1: number;
  e2: number;
  eSigma: number;
  positionSigmaPx: number;
  /** Light of the whole profile, stored units, and its standard error with everything else free. */
  flux: number;
}

/** Widths, distortion and errors of a profile; first-order propagation of its covariance. */
export function shapeOf(profile: Profile): ProfileShape {
  const { a, b, c, k, amplitude, covariance } = profile;
  const det = a * b - c * c;
  // Contour q = const is an ellipse of area pi q / sqrt(det); FWHM = 2 sqrt(area / pi).
  const fwhmPx = 2 * Math.sqrt(halfHeight(k) / Math.sqrt(det));
  // d ln FWHM = -1/4 d ln det
  const gradient = [b, a, -2 * c];
  const lnDetVariance = quadraticForm(covariance, gradient) / det ** 2;
  // The second moments go with the inverse of the curvature: Ixx : Iyy : Ixy = b : a : -c.
  const sum = a + b;
  const e1 = (b - a) / sum;
  const e2 = (-2 * c) / sum;
  const e1Variance = quadraticForm(covariance, [-2 * b, 2 * a, 0]) / sum ** 4;
  const e2Variance = quadraticForm(covariance, [2 * c, 2 * c, -2 * sum]) / sum ** 4;
  return {
    fwhmPx,
    fwhmSigmaPx: (fwhmPx / 4) * Math.sqrt(lnDetVariance),
    e1,
    e2,
    eSigma: Math.sqrt((e1Variance + e2Variance) / 2),
    positionSigmaPx: Math.sqrt((covariance[2 * 7 + 2] + covariance[3 * 7 + 3]) / 2),
    flux: profileFlux(amplitude, det, k),
  };
}

/** Integral of A (1 + k q)^(-1/k) over the plane: pi A / sqrt(det) / (1 - k). */
export const profileFlux = (amplitude: number, det: number, k: number): number =>
  (Math.PI * amplitude) / Math.sqrt(det) / (1 - k);

/** Light of the profile inside a circle of radius r about its centre, stored units. */
export function lightWithin({ amplitude, a, b, c, k }: Profile, r: number): number {
  // Along each direction the integral over the radius is closed; over the angle a rule of 12 points errs by
  // ((1 - r) / (1 + r))^12 for an axis ratio r.
  const DIRECTIONS = 12;
  let sum = 0;
  for (let i = 0; i < DIRECTIONS; i++) {
    const angle = ((i + 0.5) * Math.PI) / DIRECTIONS;
    const x = Math.cos(angle);
    const y = Math.sin(angle);
    const q = a * x * x + 2 * c * x * y + b * y * y;
    sum += (1 - (1 + k * q * r * r) ** (1 - 1 / k)) / q;
  }
  return (amplitude * Math.PI * sum) / DIRECTIONS / (1 - k);
}

/** g' C g for the three shape parameters. */
function quadraticForm(covariance: Float64Array, gradient: number[]): number {
  let sum = 0;
  for (let i = 0; i < 3; i++)
    for (let j = 0; j < 3; j++) sum += gradient[i] * gradient[j] * covariance[(i + 4) * 7 + j + 4];
  return Math.max(sum, 0);
}
