import type { Kernels } from '../wasm/kernels.ts';
import type { Plane } from '../wasm/plane.ts';
import { median } from '../math/robust.ts';
import type { Moments } from '../math/shape.ts';
import { BaseExpectation, type FreeFit } from './base-prior.ts';
import type { FitSettings } from './width-ratio.ts';
import type { Field } from './field.ts';
import { frameGain } from './frame-gain.ts';
import { haloBeyond, measureGrowth, NO_HALO, type Halo } from './growth.ts';
import { frameHalo } from './halo.ts';
import { centreShift, ShiftField } from './light-centre.ts';
import { momentsOf, shapeOf, type FitStart, type PixelNoise } from './profile.ts';
import {
  fitGathered,
  fitTarget,
  gatherTarget,
  startAt,
  type Shared,
  type Target,
  type Typical,
} from './star.ts';
import type { WingForm } from './wing-form.ts';
import { frameForm, USUAL_FORM } from './wings.ts';
import { Workspace, type Gathered } from './workspace.ts';

/** Electrons behind a stored unit; null when nobody knows. */
export interface Gain {
  unitsPerElectron: number | null;
  /** The stored value of 0 ADU; 0 when not said. */
  zeroStored?: number;
}

/** What the stars of one plane share, learned before each is measured. */
export interface Learned extends Shared {
  form: WingForm;
  unitsPerElectron: number;
  /** Standard error of its logarithm; 0 when it was given. */
  gainLogSigma: number;
  noiseAt: (target: Target) => PixelNoise;
}

/** Stars that decide on the wings. */
const WING_STARS = 30;
const BRIGHT_SIGNIFICANCE = 30;
/** Stars narrower than this are averaged over the pixel's area in the fit; wider ones hardly change across it. */
const NARROW_PX = 2.4;
/** ... and on the reds or blues of a mosaic, one pixel in four, where too few places tell what the average hides. */
const NARROW_SPARSE_PX = 3.2;
const SPARSE_SHARE = 0.3;
/** Middling stars that tell how far backgrounds stray from the sky mesh. */
const BASE_SIGNIFICANCE = { least: 8, best: 25 };
const BASE_STARS = 80;
/** The light of a star is collected so many widths out. */
const HALO_WIDTHS = 5;

/** Learns from the bright and middling lone stars of a field; `space` then averages over the pixel if they are narrow. */
export function learnFrame(space: Workspace, field: Field, shape: Moments, gain: Gain): Learned {
  const { kernels, plane, maxRadiusPx: radiusPx } = space;
  let unitsPerElectron = gain.unitsPerElectron ?? 0;
  let gainLogSigma = 0;
  let bases = new BaseExpectation([]);
  const noiseAt = (target: Target): PixelNoise => ({
    skyVariance: target.sigma ** 2,
    unitsPerElectron,
    base: bases.at(target),
  });

  const { bright, fwhmPx } = brightTargets(space, field, shape, radiusPx);
  const narrow = fwhmPx < (space.siteShare < SPARSE_SHARE ? NARROW_SPARSE_PX : NARROW_PX);
  space.integratePixels(narrow);
  let form = formOf(space, bright, shape, radiusPx, noiseAt, gain.unitsPerElectron !== null);
  if (gain.unitsPerElectron === null) {
    const belief = frameGain(space, field, shape, radiusPx, form, gain.zeroStored ?? 0);
    unitsPerElectron = belief.unitsPerElectron;
    gainLogSigma = belief.logSigma;
    form = formOf(space, bright, shape, radiusPx, noiseAt, true);
  }
  const free = freeFits(space, field, bright, { shape, form, radiusPx, noiseAt });
  const typical = typicalOf(free);
  bases = new BaseExpectation(free);
  const halo = wideHalo(
    kernels,
    plane,
    bright,
    { typical: typical ?? { shape }, form, radiusPx, noiseAt },
    fwhmPx,
    narrow,
    free,
  );
  const shifts = shiftsOf(space, bright, { shape, form, radiusPx, noiseAt });
  const beyond = haloBeyond(halo, radiusPx);
  return {
    form,
    halo,
    beyond,
    typical,
    shifts,
    unitsPerElectron,
    gainLogSigma,
    noiseAt,
  };
}

/** Bright and middling lone stars fitted with a free background. */
function freeFits(
  space: Workspace,
  field: Field,
  bright: Target[],
  { shape, form, radiusPx, noiseAt }: FitSettings,
): FreeFit[] {
  const placeOf = ({ xPx, yPx }: Target) => `${xPx} ${yPx}`;
  const known = new Set(bright.map(placeOf));
  const middling = field
    .starsNear(BASE_SIGNIFICANCE, BASE_STARS)
    .filter((target) => !known.has(placeOf(target)));
  return [...bright, ...middling].flatMap((target) => {
    const { profile, gathered } = fitTarget(space, target, { shape }, form, radiusPx, noiseAt(target));
    return profile && gathered.saturated === 0 && gathered.outside === 0 ? [{ target, profile }] : [];
  });
}

function shiftsOf(
  space: Workspace,
  bright: Target[],
  { shape, form, radiusPx, noiseAt }: FitSettings,
): ShiftField {
  return new ShiftField(
    bright.flatMap((target) => {
      const noise = noiseAt(target);
      const { gathered, profile } = fitTarget(space, target, { shape }, form, radiusPx, noise);
      if (!profile) return [];
      const growth = measureGrowth(space, gathered.count, profile, radiusPx, true);
      const shift = centreShift(growth, radiusPx, noise);
      return shift ? [{ ...target, shift }] : [];
    }),
  );
}

/** Median shape of the stars, and of their height over what detection guessed; null for none. */
function typicalOf(fits: FreeFit[]): Typical | null {
  if (fits.length === 0) return null;
  const shapes = fits.map(({ profile }) => momentsOf(profile));
  const of = (pick: (shape: Moments) => number) => median(shapes.map(pick));
  return {
    shape: { xx: of((shape) => shape.xx), yy: of((shape) => shape.yy), xy: of((shape) => shape.xy) },
    heightRatio: median(fits.map(({ target, profile }) => profile.amplitude / target.heightGuess)),
  };
}

/** The halo out to five widths, measured in a workspace of its own. */
function wideHalo(
  kernels: Kernels,
  plane: Plane,
  bright: Target[],
  { typical, form, radiusPx, noiseAt }: Omit<FitSettings, 'shape'> & { typical: Typical },
  fwhmPx: number,
  narrow: boolean,
  free: FreeFit[],
): Halo {
  const widePx = Math.min(Math.max(HALO_WIDTHS * fwhmPx, radiusPx), 2 * radiusPx);
  if (!(widePx > radiusPx)) return NO_HALO;
  const mark = kernels.arena.mark();
  const wide = new Workspace(kernels, plane, widePx);
  wide.integratePixels(narrow);
  const halo = frameHalo(wide, bright, typical, form, radiusPx, noiseAt, free);
  kernels.arena.reset(mark);
  return halo;
}

/** The brightest lone stars, neither saturated nor cut by the border, and their median width. */
function brightTargets(
  space: Workspace,
  field: Field,
  shape: Moments,
  radiusPx: number,
): { bright: Target[]; fwhmPx: number } {
  const bright: Target[] = [];
  const widths: number[] = [];
  for (const target of field.loneStars(BRIGHT_SIGNIFICANCE)) {
    if (bright.length === WING_STARS) break;
    const noise = { skyVariance: target.sigma ** 2, unitsPerElectron: 0 };
    const { profile, gathered } = fitTarget(space, target, { shape }, USUAL_FORM, radiusPx, noise);
    if (!profile || gathered.saturated > 0 || gathered.outside > 0) continue;
    bright.push(target);
    widths.push(shapeOf(profile).fwhmPx);
  }
  return { bright, fwhmPx: median(widths) };
}

function formOf(
  space: Workspace,
  bright: Target[],
  shape: Moments,
  radiusPx: number,
  noiseAt: (target: Target) => PixelNoise,
  noiseKnown: boolean,
): WingForm {
  let gatheredFor: Target | null = null;
  const fits = bright.map((target) => {
    const noise = noiseAt(target);
    let gathered: Gathered | null = null;
    let start: FitStart | null = null;
    return (form: WingForm) => {
      if (!gathered || gatheredFor !== target) gathered = gatherTarget(space, target, radiusPx);
      gatheredFor = target;
      start ??= startAt(target, { shape }, gathered);
      const profile = fitGathered(space, gathered, start, form, radiusPx, noise);
      // Neighbouring forms have all but the same height, place and half-height contour: each fit starts from the one before.
      if (profile) start = { ...profile, shape: momentsOf(profile) };
      return profile;
    };
  });
  return frameForm(fits, noiseKnown);
}
