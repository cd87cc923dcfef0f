import type { Sky } from '../background/sky.ts';
import type { Detection } from '../detect/detect.ts';
import { median } from '../math/robust.ts';
import { axes, width, type Moments } from '../math/shape.ts';
import { FLAG } from '../protocol/flags.ts';
import type { Kernels } from '../wasm/kernels.ts';
import type { Plane } from '../wasm/plane.ts';
import { BaseExpectation, type FreeFit } from './base-prior.ts';
import { calibrateWidths, type FitSettings, type Sample } from './calibrate.ts';
import { Field } from './field.ts';
import { frameGain } from './frame-gain.ts';
import type { FrameGain } from './gain.ts';
import { NO_HALO, type Halo } from './growth.ts';
import { frameHalo } from './halo.ts';
import { judgePlateaus, judgeShapes } from './judge.ts';
import { NeighbourIndex } from './neighbours.ts';
import { momentsOf, shapeOf, type FitStart, type PixelNoise } from './profile.ts';
import {
  fitGathered,
  fitTarget,
  gatherTarget,
  measureStar,
  startAt,
  type MeasuredStar,
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

export interface Measurement {
  stars: MeasuredStar[];
  /** Radial form shared by the frame. */
  form: WingForm;
  radiusPx: number;
  /** Stored units per electron: as given, or as the frame itself tells. */
  unitsPerElectron: number;
  /** What the frame tells of its gain; null where it was given. */
  gain: FrameGain | null;
  /** The profile was averaged over the pixel. */
  narrow: boolean;
}

/** Stars that decide on the wings. */
const WING_STARS = 30;
const BRIGHT_SIGNIFICANCE = 30;
/** Stars narrower than this are averaged over the pixel's area in the fit; wider ones hardly change across it. */
const NARROW_PX = 2.4;
/** Middling stars that tell how far backgrounds stray from the sky mesh. */
const BASE_SIGNIFICANCE = { least: 8, best: 25 };
const BASE_STARS = 80;
/** The light of a star is collected so many widths out. */
const HALO_WIDTHS = 5;
const MIN_RADIUS_PX = 7;
const MAX_RADIUS_PX = 48;
const MIN_SNR = 5.5;

/**
 * Measures every candidate: first the wing exponent from the brightest lone stars, then all of them with it.
 * Hot pixels and cosmic rays are dropped; what is doubtful is flagged. Brightest first.
 */
export function measureStars(
  plane: Plane,
  sky: Sky,
  { candidates, shape }: Detection,
  gain: Gain,
  kernels: Kernels,
  onProgress: (done: number) => void = () => {},
): Measurement {
  const mark = kernels.arena.mark();
  const { major } = axes(shape);
  const radiusPx = Math.min(MAX_RADIUS_PX, Math.max(MIN_RADIUS_PX, Math.ceil(3.2 * major + 3)));
  const space = new Workspace(kernels, plane, radiusPx);
  const field = new Field(plane, sky, candidates, shape, radiusPx);
  let unitsPerElectron = gain.unitsPerElectron ?? 0;
  let bases = new BaseExpectation([]);
  const noiseAt = (target: Target): PixelNoise => ({
    skyVariance: target.sigma ** 2,
    unitsPerElectron,
    base: bases.at(target),
  });

  const { bright, fwhmPx } = brightTargets(space, field, shape, radiusPx);
  const narrow = fwhmPx < NARROW_PX;
  space.integratePixels(narrow);
  let form = formOf(space, bright, shape, radiusPx, noiseAt, gain.unitsPerElectron !== null);
  let ownGain: FrameGain | null = null;
  if (gain.unitsPerElectron === null) {
    ownGain = frameGain(space, field, sky, shape, radiusPx, form, gain.zeroStored ?? 0);
    unitsPerElectron = ownGain.unitsPerElectron;
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
  );
  const samples: Sample[] = [];
  // Row by row, so that what one star reads is still at hand for the next.
  const order = Array.from(candidates.keys()).sort((i, j) => candidates[i].yPx - candidates[j].yPx);
  order.forEach((index, done) => {
    if (done % 64 === 0) onProgress(done);
    const target = field.target(index);
    const blended = field.blended(index);
    // A close neighbour's wings lie under it: its background is its own.
    const noise = blended ? { ...noiseAt(target), base: undefined } : noiseAt(target);
    const measured = measureStar(space, target, shape, form, radiusPx, noise, halo, typical);
    if (!measured || measured.star.snr < MIN_SNR) return;
    const { star, profile } = measured;
    if (blended) star.flags |= FLAG.blended;
    if (field.nearBorder(star)) star.flags |= FLAG.edge;
    samples.push({ star, target, profile });
  });
  const stars = samples.map((sample) => sample.star);
  judgePlateaus(stars);
  judgeShapes(stars);
  calibrateWidths(space, plane, samples, { shape, form, radiusPx, noiseAt });
  kernels.arena.reset(mark);
  const kept = withoutTwins(
    stars.filter((star) => !(star.flags & FLAG.sharp)),
    width(shape),
  );
  return {
    stars: kept.sort((a, b) => b.flux - a.flux),
    form,
    radiusPx,
    unitsPerElectron,
    gain: ownGain,
    narrow,
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
): Halo {
  const widePx = Math.min(Math.max(HALO_WIDTHS * fwhmPx, radiusPx), 2 * radiusPx);
  if (!(widePx > radiusPx)) return NO_HALO;
  const mark = kernels.arena.mark();
  const wide = new Workspace(kernels, plane, widePx);
  wide.integratePixels(narrow);
  const halo = frameHalo(wide, bright, typical, form, radiusPx, noiseAt);
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

/** Two candidates that settled on one star: the brighter stays. */
function withoutTwins(stars: MeasuredStar[], sizePx: number): MeasuredStar[] {
  const reach = Math.max(1.5, sizePx);
  const index = new NeighbourIndex(
    stars.map((star) => star.xPx),
    stars.map((star) => star.yPx),
    Math.max(8, reach),
  );
  return stars.filter((star, i) => !index.around(i, reach).some((other) => stars[other].snr > star.snr));
}
