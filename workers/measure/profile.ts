import type { Moments } from '../math/shape.ts';
import { halfHeight, lightOf, type WingForm } from './wing-form.ts';
import type { Workspace } from './workspace.ts';

/**
 * One star's fitted profile I = A f(q) + B with q = a dx² + 2 c dx dy + b dy², stored units, positions from the middle of
 * the gathered pixels; f is the frame's form (wing-form.ts).
 */
export interface Profile extends WingForm {
  amplitude: number;
  base: number;
  dx: number;
  dy: number;
  a: number;
  b: number;
  c: number;
  errors: ProfileErrors;
  /** chi² + sum of ln variance: minus twice the log-likelihood up to a constant. */
  deviance: number;
  chi2PerFreedom: number;
}

/** Variances and covariances of what is used of a profile's parameters. */
export interface ProfileErrors {
  amplitude: number;
  base: number;
  /** Of amplitude and base. */
  amplitudeBase: number;
  /** Of the relative width (ln of the scale, at the same axis ratio) with amplitude and base. */
  amplitudeScale: number;
  baseScale: number;
  /** Of the logarithm of the flux. */
  logFlux: number;
  /** Mean of the two axes. */
  position: number;
  aa: number;
  bb: number;
  cc: number;
  ab: number;
  ac: number;
  bc: number;
}

export interface PixelNoise {
  /** Variance of sky and read noise, stored units squared. */
  skyVariance: number;
  /** Stored units that one electron makes. */
  unitsPerElectron: number;
  /** What is known of the background beforehand; without it the background is free. */
  base?: BasePrior;
}

/** The background of a star of height A is expected at `expected` + `perHeight` A, with a variance of 1 / certainty. */
export interface BasePrior {
  expected: number;
  perHeight: number;
  certainty: number;
}

/** Where a fit begins. */
export interface FitStart {
  amplitude: number;
  dx: number;
  dy: number;
  shape: Moments;
}

const ITERATIONS = 12;
/** A fit's last step may be a fifth of a standard error: it leaves some two hundredths. */
const LAST_STEP = 0.04;
const LOST = 1;

/** Parameters a, b, c of a profile whose half-height contour is that of a Gaussian of `shape`. */
export function startCurvature(shape: Moments, form: WingForm): [number, number, number] {
  const det = shape.xx * shape.yy - shape.xy ** 2;
  // A Gaussian falls to half at (x' M^-1 x) = 2 ln 2.
  const scale = halfHeight(form) / (2 * Math.LN2) / det;
  return [shape.yy * scale, shape.xx * scale, -shape.xy * scale];
}

/** Moments of the Gaussian with the half-height contour of a profile. */
export function momentsOf(profile: Pick<Profile, 'a' | 'b' | 'c' | 'k' | 'wing'>): Moments {
  const { a, b, c } = profile;
  const scale = halfHeight(profile) / (2 * Math.LN2) / (a * b - c * c);
  return { xx: b * scale, yy: a * scale, xy: -c * scale };
}

/**
 * Fits the gathered pixels, starting from `shape` at (dx, dy). Maximum likelihood for the noise given, with
 * what is known of the background; with `held` the shape stays `start.shape` and has no errors. Null when the fit runs out of bounds.
 */
export function fitProfile(
  space: Workspace,
  count: number,
  start: FitStart,
  form: WingForm,
  noise: PixelNoise,
  held = false,
): Profile | null {
  const [a, b, c] = startCurvature(start.shape, form);
  const { k, wing } = form;
  const { params } = space.view;
  const { amplitude, dx, dy } = start;
  const base = noise.base ? noise.base.expected + noise.base.perHeight * amplitude : 0;
  setProfile(params, amplitude, base, dx, dy, a, b, c, form);
  space.subtracted = null;
  const status = space.kernels.run.fitProfile(
    space.list,
    space.capacity,
    count,
    space.nodes,
    space.nodeCount,
    k,
    noise.skyVariance,
    noise.unitsPerElectron,
    noise.base?.expected ?? 0,
    noise.base?.perHeight ?? 0,
    noise.base?.certainty ?? 0,
    held,
    ITERATIONS,
    LAST_STEP,
    space.params,
    space.covariance,
    space.fit,
    space.work,
  );
  if (status === LOST) return null;
  const { covariance, fit } = space.view;
  const profile: Profile = {
    amplitude: params[0],
    base: params[1],
    dx: params[2],
    dy: params[3],
    a: params[4],
    b: params[5],
    c: params[6],
    k,
    wing,
    errors: errorsOf(params, covariance, held),
    deviance: fit[1],
    chi2PerFreedom: fit[0],
  };
  space.subtracted = profile;
  return profile;
}

function errorsOf(params: Float64Array, covariance: Float64Array, held: boolean): ProfileErrors {
  const shape = (row: number, col: number) => (held ? NaN : covariance[row * 7 + col]);
  const [a, b, c] = [params[4], params[5], params[6]];
  // d ln scale = -1/4 d ln (a b - c²)
  const scale = (row: number) =>
    (b * shape(row, 4) + a * shape(row, 5) - 2 * c * shape(row, 6)) / (-4 * (a * b - c * c));
  return {
    amplitude: covariance[0],
    base: covariance[7 + 1],
    amplitudeBase: covariance[1],
    amplitudeScale: scale(0),
    baseScale: scale(1),
    logFlux: held ? covariance[0] / params[0] ** 2 : logFluxVariance(params, covariance),
    position: (covariance[2 * 7 + 2] + covariance[3 * 7 + 3]) / 2,
    aa: shape(4, 4),
    bb: shape(5, 5),
    cc: shape(6, 6),
    ab: shape(4, 5),
    ac: shape(4, 6),
    bc: shape(5, 6),
  };
}

/** Variance of ln flux = ln A - ln(a b - c²) / 2 + a constant: first-order propagation over A, a, b and c. */
function logFluxVariance(params: Float64Array, covariance: Float64Array): number {
  const [a, b, c] = [params[4], params[5], params[6]];
  const det = a * b - c * c;
  const slopes = [1 / params[0], 0, 0, 0, -b / (2 * det), -a / (2 * det), c / det];
  let sum = 0;
  for (let i = 0; i < 7; i++)
    for (let j = 0; j < 7; j++) sum += slopes[i] * slopes[j] * covariance[7 * i + j];
  return sum;
}

/** Writes a profile's parameters in the kernels' order. */
export function setProfile(
  params: Float64Array,
  amplitude: number,
  base: number,
  dx: number,
  dy: number,
  a: number,
  b: number,
  c: number,
  form: WingForm,
): void {
  params[0] = amplitude;
  params[1] = base;
  params[2] = dx;
  params[3] = dy;
  params[4] = a;
  params[5] = b;
  params[6] = c;
  params[7] = form.wing;
  params[8] = Math.LN2 / halfHeight(form);
}

/** Leaves value minus profile in the list, and the profile in the parameters; a fit has left its own there. */
export function subtractProfile(space: Workspace, count: number, profile: Profile): void {
  const { amplitude, base, dx, dy, a, b, c, k } = profile;
  setProfile(space.view.params, amplitude, base, dx, dy, a, b, c, profile);
  if (space.subtracted === profile) return;
  space.subtracted = profile;
  space.kernels.run.subtractProfile(
    space.list,
    space.capacity,
    count,
    space.nodes,
    space.nodeCount,
    k,
    space.params,
  );
}

/**
 * The profile as seen through the pixel, when it was fitted as before the pixel: the pixel adds 1/12 px² to each axis
 * of the second moments (handbook of widths: Bertin & Arnouts 1996), here to those of the Gaussian with the same
 * half-height contour; flux and relative errors stay. Good to a few per cent of the width; `calibrateWidths` does the
 * rest.
 */
export function seenProfile(space: Workspace, profile: Profile): Profile {
  if (space.nodeCount === 1) return profile;
  const { a, b, c } = profile;
  const det = a * b - c * c;
  const { xx, yy, xy } = momentsOf(profile);
  const shape = { xx: xx + 1 / 12, yy: yy + 1 / 12, xy };
  const [wideA, wideB, wideC] = startCurvature(shape, profile);
  const wideDet = wideA * wideB - wideC ** 2;
  // Errors of the curvature shrink with the curvature's own change, d(a')/d(a) = (a'/a)² for a wider star.
  const narrowing = Math.sqrt(wideDet / det);
  const shrink = narrowing ** 4;
  const { aa, bb, cc, ab, ac, bc } = profile.errors;
  return {
    ...profile,
    amplitude: profile.amplitude * narrowing,
    a: wideA,
    b: wideB,
    c: wideC,
    errors: {
      ...profile.errors,
      amplitudeScale: profile.errors.amplitudeScale * narrowing,
      baseScale: profile.errors.baseScale * narrowing,
      aa: aa * shrink,
      bb: bb * shrink,
      cc: cc * shrink,
      ab: ab * shrink,
      ac: ac * shrink,
      bc: bc * shrink,
    },
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
  const { a, b, c, amplitude, errors } = profile;
  const det = a * b - c * c;
  // Contour q = const is an ellipse of area pi q / sqrt(det); FWHM = 2 sqrt(area / pi).
  const fwhmPx = 2 * Math.sqrt(halfHeight(profile) / Math.sqrt(det));
  // d ln FWHM = -1/4 d ln det
  const lnDetVariance = varianceAlong(errors, b, a, -2 * c) / det ** 2;
  // The second moments go with the inverse of the curvature: Ixx : Iyy : Ixy = b : a : -c.
  const sum = a + b;
  const e1 = (b - a) / sum;
  const e2 = (-2 * c) / sum;
  const e1Variance = varianceAlong(errors, -2 * b, 2 * a, 0) / sum ** 4;
  const e2Variance = varianceAlong(errors, 2 * c, 2 * c, -2 * sum) / sum ** 4;
  return {
    fwhmPx,
    fwhmSigmaPx: (fwhmPx / 4) * Math.sqrt(lnDetVariance),
    e1,
    e2,
    eSigma: Math.sqrt((e1Variance + e2Variance) / 2),
    positionSigmaPx: Math.sqrt(errors.position),
    flux: profileFlux(amplitude, det, profile),
  };
}

/** Integral of the profile over the plane. */
export const profileFlux = (amplitude: number, det: number, form: WingForm): number =>
  (amplitude * lightOf(form)) / Math.sqrt(det);

/** Variance of u a + v b + w c. */
function varianceAlong({ aa, bb, cc, ab, ac, bc }: ProfileErrors, u: number, v: number, w: number): number {
  return Math.max(u * u * aa + v * v * bb + w * w * cc + 2 * (u * v * ab + u * w * ac + v * w * bc), 0);
}
