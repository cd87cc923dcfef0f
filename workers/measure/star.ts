import { width, type Moments } from '../math/shape.ts';
import { FLAG } from '../protocol/flags.ts';
import { MEDIAN_OF_NINE, strays } from './base-prior.ts';
import { heldProfile } from './held-shape.ts';
import {
  HALO_LEVER,
  haloWithin,
  measureGrowth,
  NO_HALO,
  type Edge,
  type Growth,
  type Halo,
} from './growth.ts';
import { halfLightOf, type HalfLight } from './half-light.ts';
import { centreShift, type ShiftField } from './light-centre.ts';
import {
  fitProfile,
  seenProfile,
  shapeOf,
  startCurvature,
  type FitStart,
  type PixelNoise,
  type Profile,
} from './profile.ts';
import type { WingForm } from './wing-form.ts';
import type { Gathered, Workspace } from './workspace.ts';

/** Where a star is thought to be and what surrounds it. */
export interface Target {
  xPx: number;
  yPx: number;
  /** Sky and noise at its place, stored units. */
  level: number;
  sigma: number;
  /** Discs to leave out: (dx, dy, r²) from the rounded position. */
  neighbours: [number, number, number][];
  /** How far the sky's single cells lie from the smoothed mesh about here, stored units. */
  roughness: number;
  /** About its height above the sky, stored units. */
  heightGuess: number;
}

/** One star's numbers, stored units for light; see protocol/stars.ts for the meaning of each. */
export interface MeasuredStar {
  xPx: number;
  yPx: number;
  positionSigmaPx: number;
  flux: number;
  snr: number;
  peak: number;
  sky: number;
  fwhmPx: number;
  fwhmSigmaPx: number;
  hfdPx: number;
  hfdSigmaPx: number;
  e1: number;
  e2: number;
  eSigma: number;
  rmsPx: number;
  comet: [number, number];
  clover: [number, number];
  flags: number;
  /** Pixels within a twentieth of the highest, and how many of them the profile would have; of clear stars only. */
  plateau: { pixels: number; expected: number };
}

/** A ring's middle is darker than this share of its brightest annulus. */
const RING_SHARE = 0.75;
const RING_MIN_RMS_PX = 2.5;
const RING_MIN_SNR = 20;
const PLATEAU_DEPTH = 0.05;
/** In fainter stars noise makes the top. */
export const CLEAR_PEAK_SNR = 60;
/** A faint candidate that no profile fits is a piece of something else. */
const UNFITTED_MIN_SNR = 20;
/** ... and so is one much wider than the frame's stars: a nebula's edge, an uneven sky. */
const UNFITTED_MOST_WIDTHS = 1.8;
/** Wing exponent of the stand-in: all but a Gaussian. */
const STAND_IN: WingForm = { k: 0.01, wing: 0 };
const MIN_PIXELS = 24;
const LEAST_LIGHT_SIGMAS = 3;
/** Of adaptive moments, see kernels/stamp.ts. */
const ROUNDS = 30;
const FAST_ROUNDS = 8;
const UNDERSAMPLED_PX = 1.6;
/** In narrower stars the steps from pixel to pixel hide where a profile that is moved belongs; in full a pixel above. */
const LEAST_CENTRED_PX = 3;

/** Collects a target's pixels. */
export const gatherTarget = (space: Workspace, target: Target, radiusPx: number): Gathered =>
  space.gather(
    Math.round(target.xPx),
    Math.round(target.yPx),
    radiusPx,
    target.level,
    target.sigma,
    target.neighbours,
  );

/** Where fits of a frame's stars begin. */
export interface Typical {
  shape: Moments;
  /** Height over what detection guesses of it; without it a fit begins at the highest pixel. */
  heightRatio?: number;
}

/** What a star takes from the others of its frame. */
export interface Shared {
  halo: Halo;
  /** What of it lies beyond the aperture. */
  beyond: Halo;
  /** Null when no star could be fitted. */
  typical: Typical | null;
  /** How far stars' light lies off their profiles' centres, see light-centre.ts. */
  shifts: ShiftField;
}

/** Collects a target's pixels and fits the profile, from the typical star or, failing that, from its own moments. */
export function fitTarget(
  space: Workspace,
  target: Target,
  typical: Typical,
  form: WingForm,
  radiusPx: number,
  noise: PixelNoise,
): { gathered: Gathered; profile: Profile | null; cx: number; cy: number } {
  const gathered = gatherTarget(space, target, radiusPx);
  const start = startAt(target, typical, gathered);
  const profile = fitGathered(space, gathered, start, form, radiusPx, noise);
  return { gathered, profile, cx: Math.round(target.xPx), cy: Math.round(target.yPx) };
}

export function startAt(target: Target, { shape, heightRatio }: Typical, { peak }: Gathered): FitStart {
  const guess = heightRatio ? heightRatio * target.heightGuess : 0;
  return {
    amplitude: guess > 0 ? guess : peak,
    dx: target.xPx - Math.round(target.xPx),
    dy: target.yPx - Math.round(target.yPx),
    shape,
  };
}

/** Fits the pixels that are gathered already. */
export function fitGathered(
  space: Workspace,
  { count, peak }: Gathered,
  start: FitStart,
  form: WingForm,
  radiusPx: number,
  noise: PixelNoise,
): Profile | null {
  if (count < MIN_PIXELS || !(peak > 0)) return null;
  const profile = fitWithPrior(space, count, start, form, noise);
  if (believable(space, profile, radiusPx)) return profile;
  const own = adaptiveStart(space, count, start, radiusPx);
  const second = own && fitWithPrior(space, count, { ...own, amplitude: peak }, form, noise);
  return believable(space, second, radiusPx) ? second : null;
}

/** A star whose background is not the expected one is fitted with a free one. */
function fitWithPrior(
  space: Workspace,
  count: number,
  start: FitStart,
  form: WingForm,
  noise: PixelNoise,
): Profile | null {
  const profile = fitProfile(space, count, start, form, noise);
  if (!noise.base || (profile && !strays(profile, noise.base))) return profile;
  return fitProfile(space, count, start, form, { ...noise, base: undefined });
}

/** A fit that wandered off, or became as wide as the pixels it was given, is none. */
function believable(space: Workspace, profile: Profile | null, radiusPx: number): profile is Profile {
  if (!profile) return false;
  const { fwhmPx } = shapeOf(seenProfile(space, profile));
  return profile.dx ** 2 + profile.dy ** 2 < (radiusPx / 2) ** 2 && fwhmPx < 1.6 * radiusPx && fwhmPx > 0.3;
}

function adaptiveStart(
  space: Workspace,
  count: number,
  start: { dx: number; dy: number; shape: Moments },
  radiusPx: number,
): { dx: number; dy: number; shape: Moments } | null {
  const { dx, dy, shape } = start;
  const { state } = space.view;
  state.set([dx, dy, shape.xx, shape.yy, shape.xy]);
  const rounds = space.kernels.run.adaptiveMoments(
    space.list,
    space.capacity,
    count,
    space.state,
    ROUNDS,
    FAST_ROUNDS,
    radiusPx,
    radiusPx / 2,
  );
  if (rounds < 0) return null;
  const [x, y, xx, yy, xy] = state;
  return { dx: x, dy: y, shape: { xx, yy, xy } };
}

/**
 * A stand-in where no profile can be fitted: adaptive moments as a Gaussian of the same light. Null when they fail too.
 */
export function momentProfile(
  space: Workspace,
  target: Target,
  gathered: Gathered,
  shape: Moments,
  radiusPx: number,
): Profile | null {
  const [cx, cy] = [Math.round(target.xPx), Math.round(target.yPx)];
  const start = { dx: target.xPx - cx, dy: target.yPx - cy, shape };
  const own = adaptiveStart(space, gathered.count, start, radiusPx);
  if (!own || width(own.shape) > UNFITTED_MOST_WIDTHS * width(shape)) return null;
  const [a, b, c] = startCurvature(own.shape, STAND_IN);
  return {
    amplitude: gathered.peak,
    base: 0,
    dx: own.dx,
    dy: own.dy,
    a,
    b,
    c,
    ...STAND_IN,
    errors: {
      amplitude: NaN,
      base: NaN,
      amplitudeBase: NaN,
      amplitudeScale: NaN,
      baseScale: NaN,
      logFlux: NaN,
      position: NaN,
      aa: NaN,
      bb: NaN,
      cc: NaN,
      ab: NaN,
      ac: NaN,
      bc: NaN,
    },
    deviance: NaN,
    chi2PerFreedom: NaN,
  };
}

/** Measures one star; null when there is nothing star-like at the place. The profile is the fitted one or its stand-in. */
export function measureStar(
  space: Workspace,
  target: Target,
  shape: Moments,
  form: WingForm,
  radiusPx: number,
  noise: PixelNoise,
  { halo, beyond, typical, shifts }: Shared,
): { star: MeasuredStar; profile: Profile; halfLight: HalfLight | null } | null {
  const {
    gathered,
    profile: own,
    cx,
    cy,
  } = fitTarget(space, target, typical ?? { shape }, form, radiusPx, noise);
  if (gathered.count < MIN_PIXELS) return null;
  // The light of a bump as wide as the aperture cannot be told from the background's: it is no star. That of a star
  // narrower than its pixels cannot be told from its width's.
  const fittedProfile = own && own.errors.logFlux < LEAST_LIGHT_SIGMAS ** -2 ? own : null;
  const place = { dx: target.xPx - cx, dy: target.yPx - cy };
  const held = fittedProfile
    ? null
    : heldProfile(space, gathered, place, own, typical?.shape ?? null, form, noise);
  if (own && !fittedProfile && !held) return null;
  const profile = fittedProfile ?? held ?? momentProfile(space, target, gathered, shape, radiusPx);
  if (!profile) return null;
  let flags = 0;
  const seen = seenProfile(space, profile);
  const shaped = shapeOf(seen);
  const smooth = fittedProfile !== null || held !== null;
  const count = gathered.count;
  const under = (edge: Edge) => skyUnder(edge, profile, halo, target);
  // A base that strays from the sky by more than their errors was bent by the star's own light.
  const trusted = (edge: Edge) => {
    const { base: level, variance } = under(edge);
    const stray = Math.max(0, (profile.base - level) ** 2 - profile.errors.base - variance);
    return { level, trust: smooth ? stray / (stray + variance) : 0 };
  };
  const skyAbout = halo.shares.length > 0 ? trusted : undefined;
  const grow = (about: Profile): Growth =>
    measureGrowth(space, count, about, radiusPx, smooth, { halo, beyond, skyUnder: skyAbout });
  let growth = grow(profile);
  if (!fittedProfile) flags |= FLAG.unfitted;
  const ring = growth.middleOverRing < RING_SHARE && growth.rmsPx > RING_MIN_RMS_PX;
  const bySky = smooth && (ring || (skyAbout?.(growth).trust ?? 0) > 0.5);
  const baseVariance = bySky ? under(growth).variance : null;
  // No smooth profile describes a ring: its light is counted pixel by pixel above the surroundings.
  if (ring || !smooth) {
    const base = smooth ? under(growth).base : profile.base + growth.outerLevel;
    growth = measureGrowth(space, count, { ...profile, base }, radiusPx, false, {
      halo: smooth ? beyond : NO_HALO,
    });
  } else {
    const trust = Math.min(1, shaped.fwhmPx * Math.sqrt(space.siteShare) - LEAST_CENTRED_PX);
    const shift = trust > 0 ? centreShift(growth, radiusPx, noise) : null;
    const centre = shift && shifts.centred(profile, target, shift, growth.hfdPx, trust);
    if (centre) {
      const { hfdPx, rmsPx } = grow(centre);
      growth = { ...growth, hfdPx, rmsPx };
    }
  }
  // Area of the matched aperture of a Gaussian with the profile's width: 4 pi sqrt(det M).
  const rms = shaped.fwhmPx / (2 * Math.sqrt(2 * Math.LN2));
  const light = smooth && !ring ? shaped.flux * (1 + haloWithin(halo, Infinity)) : growth.flux;
  const variance = Math.max(light, 0) * noise.unitsPerElectron + 4 * Math.PI * rms ** 2 * noise.skyVariance;
  // On a mosaic only a share of the light and of the sky is seen.
  const snr = (light / Math.sqrt(variance)) * Math.sqrt(space.siteShare);
  if (!smooth && snr < UNFITTED_MIN_SNR) return null;
  if (gathered.saturated > 0) flags |= FLAG.saturated;
  if (ring && snr > RING_MIN_SNR) flags |= FLAG.ring;
  else if (shaped.fwhmPx < UNDERSAMPLED_PX) flags |= FLAG.undersampled;
  const hasWidth = fittedProfile && !(flags & FLAG.ring);
  const star: MeasuredStar = {
    xPx: cx + profile.dx,
    yPx: cy + profile.dy,
    positionSigmaPx: shaped.positionSigmaPx,
    flux: growth.flux,
    snr,
    peak: gathered.peak,
    sky: target.level + profile.base,
    fwhmPx: hasWidth ? shaped.fwhmPx : NaN,
    fwhmSigmaPx: hasWidth ? shaped.fwhmSigmaPx : NaN,
    hfdPx: growth.hfdPx,
    // The same relative error as the width, for both follow the one scale of the profile, and that of the frame's halo.
    hfdSigmaPx: growth.hfdPx * Math.hypot(shaped.fwhmSigmaPx / shaped.fwhmPx, HALO_LEVER * halo.sigma),
    e1: shaped.e1,
    e2: shaped.e2,
    eSigma: shaped.eSigma,
    rmsPx: growth.rmsPx,
    comet: growth.comet,
    clover: growth.clover,
    flags,
    plateau: snr > CLEAR_PEAK_SNR ? plateauOf(space, gathered, profile) : NO_PLATEAU,
  };
  const halfLight =
    fittedProfile &&
    halfLightOf(
      space,
      seen,
      (shaped.fwhmSigmaPx / shaped.fwhmPx) ** 2,
      growth,
      radiusPx,
      halo,
      noise,
      baseVariance,
    );
  return { star, profile, halfLight };
}

/**
 * Sky under a star, stored units above the mesh: what the mesh says, from a thousand pixels but
 * as rough as it is here, together with the edge of the star's aperture less what such stars have there.
 */
function skyUnder(
  { outerLevel, outerPixels }: Edge,
  { amplitude, base }: Profile,
  { skyOffset, edgePerHeight }: Halo,
  { sigma, roughness }: Target,
): { base: number; variance: number } {
  const mesh = skyOffset * sigma;
  const own = edgePerHeight * amplitude;
  const edge = base + outerLevel - own;
  const meshCertainty = 1 / (MEDIAN_OF_NINE * roughness) ** 2;
  const edgeCertainty = 1 / (sigma ** 2 / Math.max(outerPixels, 1) + (EDGE_SCATTER * own) ** 2);
  const certainty = meshCertainty + edgeCertainty;
  return { base: (mesh * meshCertainty + edge * edgeCertainty) / certainty, variance: 1 / certainty };
}
/** Stars differ by this share in what they have at the edge: their sizes change over the field. */
const EDGE_SCATTER = 0.3;

const NO_PLATEAU = { pixels: 0, expected: 1 };

/** A clipped star has a flat top: many pixels near the highest, where the profile would have one or two. */
function plateauOf(space: Workspace, gathered: Gathered, { a, b, c }: Profile): MeasuredStar['plateau'] {
  let pixels = 0;
  const limit = (1 - PLATEAU_DEPTH) * gathered.peak;
  space.eachPixel(gathered.count, (value) => (pixels += value > limit ? 1 : 0));
  // I > (1 - d) A inside q < d, an ellipse of area pi d / sqrt(det).
  const area = (Math.PI * PLATEAU_DEPTH) / Math.sqrt(Math.max(a * b - c * c, 1e-12));
  return { pixels, expected: area * space.siteShare };
}
