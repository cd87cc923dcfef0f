import { median } from '../math/robust.ts';
import { halfPeakDiameterPx } from './contour.ts';
import type { HalfLight } from './half-light.ts';
import { MeanResidual, packResiduals, type StarResiduals } from './mean-residual.ts';
import type { WidthRatio } from './pooled-ratios.ts';
import { profileFlux, seenProfile, shapeOf, type PixelNoise, type Profile } from './profile.ts';
import { gatherTarget, type MeasuredStar, type Target } from './star.ts';
import { beyondMiddle, halfHeight, heightAt, slopeAt, type WingForm } from './wing-form.ts';
import type { Workspace } from './workspace.ts';
import type { Moments } from '../math/shape.ts';

/** A measured star, where its pixels are, and the profile that was fitted to them. */
export interface Sample {
  star: MeasuredStar;
  target: Target;
  profile: Profile;
  /** Null where no profile could be fitted freely. */
  halfLight: HalfLight | null;
}

export interface FitSettings {
  shape: Moments;
  form: WingForm;
  radiusPx: number;
  noiseAt: (target: Target) => PixelNoise;
}

const FEWEST_STARS = 4;
/** Residuals are averaged over discs that hold about so many pixels. */
const PIXELS_PER_DISC = 12;
const NARROWEST_DISC_PX = 0.28;
/**
 * ... and over so much of the half-height width: a disc smooths what the residuals show of a kicked or comatic star's
 * middle, so it must be small; where they show next to nothing, a wide one has less noise and nothing to smooth.
 */
const DISC_PER_FWHM = { fine: 0.15, wide: 0.35 };
const WIDEST_DISC_PX = { fine: 1.5, wide: 3 };
export type Disc = keyof typeof DISC_PER_FWHM;
/** Nodes of the mean picture: so many to the disc's radius, and per pixel. */
const STEPS_PER_DISC = 2.3;
const [FEWEST_STEPS, MOST_STEPS] = [2, 5];

/** Stars whose residuals are laid over each other, and about what. */
export interface Group {
  members: Sample[];
  /** Unit-flux profile with the median curvature of the stars'. */
  mean: Profile;
  fwhmPx: number;
  /** How far the picture reaches. */
  reachPx: number;
}

/** Null when there are too few. */
export function groupOf(space: Workspace, members: Sample[]): Group | null {
  if (members.length < FEWEST_STARS) return null;
  const mean = meanProfile(members);
  const { fwhmPx } = shapeOf(seenProfile(space, mean));
  return { members, mean, fwhmPx, reachPx: 1.1 * fwhmPx + 1 };
}

/** Radius of the discs that a group's pixels are spread over. */
export function discOf(space: Workspace, { members, fwhmPx }: Group, disc: Disc): number {
  const density = members.length * space.siteShare;
  const forNoise = Math.sqrt(PIXELS_PER_DISC / density / Math.PI);
  const forWidth = Math.max(NARROWEST_DISC_PX, DISC_PER_FWHM[disc] * fwhmPx);
  return Math.min(WIDEST_DISC_PX[disc], Math.max(forWidth, forNoise));
}

/** The residuals of one star as far as some picture reaches. */
export function residualsOf(
  space: Workspace,
  { target, star, profile }: Sample,
  { radiusPx, noiseAt }: FitSettings,
  reachPx: number,
): StarResiduals {
  // The half-height contour is what counts; a star twice as wide as its cell's mean still covers that.
  const keptPx = Math.min(2.2 * star.fwhmPx + 2, reachPx);
  // A square of pixels about the star's centre, which may lie anywhere in the target's.
  const off = Math.hypot(star.xPx - Math.round(target.xPx), star.yPx - Math.round(target.yPx));
  const gathered = gatherTarget(space, target, Math.min(radiusPx, Math.ceil(Math.SQRT2 * keptPx + off)));
  const { flux } = shapeOf(profile);
  // A very bright star must not stand for the whole cell.
  const weight = Math.min(star.snr, 200) ** 2;
  return packResiduals(space, gathered.count, profile, flux, noiseAt(target), weight, keptPx);
}

/** Half-height width of the stars' mean picture over that of their mean profile; null where it makes no sense. */
export function widthRatio(
  space: Workspace,
  group: Group,
  residuals: Map<Sample, StarResiduals>,
  disc: Disc,
): WidthRatio | null {
  const { members, mean, fwhmPx, reachPx } = group;
  const stars = members.map((sample) => residuals.get(sample)!);
  const discPx = discOf(space, group, disc);
  const steps = Math.min(MOST_STEPS, Math.max(FEWEST_STEPS, Math.ceil(STEPS_PER_DISC / discPx)));
  const picture = new MeanResidual(space.kernels, stars, reachPx, discPx, steps);
  const diameterOf = (values: ArrayLike<number>) => halfPeakDiameterPx(values, picture.side, picture.stepPx);
  // The closed form on the same grid: what straight pieces of contour cut off falls out.
  const seen = seenProfile(space, mean);
  const closed = diameterOf(picture.valuesOf((dx, dy) => profileAt(seen, dx, dy)));
  const pixel = diameterOf(picture.pictureOf(space, mean, false)) / closed;
  const ratio = diameterOf(picture.pictureOf(space, mean, true)) / closed;
  if (!(ratio > 0.4 && ratio < 2.5)) return null;
  const sigma = ratioSigma(picture, pixelValue(space, mean, 0, 0), fwhmPx, discPx, mean);
  return { pixel, residual: { value: ratio / pixel, sigma: sigma / pixel } };
}

/**
 * Error of the half-height width from the noise of the picture at its peak and, averaged round it, on the contour:
 * d ln FWHM = (2 dI_contour - dI_peak) / (2 s I_peak),
 * s = -d ln I / d ln (area) at half height.
 */
function ratioSigma(
  picture: MeanResidual,
  peak: number,
  fwhmPx: number,
  discPx: number,
  form: WingForm,
): number {
  const slope = slopeAt(form, halfHeight(form));
  // Some independent discs fit onto the contour.
  const discs = Math.max(1, (Math.PI * fwhmPx) / (2 * discPx));
  const contour = (picture.varianceAt(fwhmPx / 2, 0) + picture.varianceAt(0, fwhmPx / 2)) / 2 / discs;
  return Math.sqrt(picture.varianceAt(0, 0) + 4 * contour) / (2 * slope * peak);
}

function meanProfile(stars: Sample[]): Profile {
  const pick = (name: 'a' | 'b' | 'c') => median(stars.map(({ profile }) => profile[name]));
  const mean = { ...stars[0].profile, a: pick('a'), b: pick('b'), c: pick('c') };
  mean.amplitude = 1 / profileFlux(1, mean.a * mean.b - mean.c ** 2, mean);
  return mean;
}

const profileAt = ({ amplitude, a, b, c, k, wing }: Profile, dx: number, dy: number): number =>
  amplitude * heightAt({ k, wing }, a * dx * dx + 2 * c * dx * dy + b * dy * dy);

/** What a pixel at (dx, dy) from the centre of the profile holds. */
function pixelValue(space: Workspace, profile: Profile, dx: number, dy: number): number {
  const { a, b, c } = profile;
  const q = (x: number, y: number) => a * x * x + 2 * c * x * y + b * y * y;
  let sum = 0;
  for (const [x, y, weight] of space.rule) sum += weight * heightAt(profile, q(dx + x, dy + y));
  if (space.nodeCount === 1) {
    const slope2 = 4 * ((a * dx + c * dy) ** 2 + (c * dx + b * dy) ** 2);
    sum += beyondMiddle(profile, q(dx, dy), slope2, a + b);
  }
  return profile.amplitude * sum;
}
