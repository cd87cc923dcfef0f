import { median } from '../math/robust.ts';
import { FLAG, NOT_FOR_SHAPE } from '../protocol/flags.ts';
import type { Estimate } from '../protocol/report.ts';
import type { Plane } from '../wasm/plane.ts';
import { halfPeakDiameterPx } from './contour.ts';
import { MeanResidual, packResiduals, type StarResiduals } from './mean-residual.ts';
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
}

export interface FitSettings {
  shape: Moments;
  form: WingForm;
  radiusPx: number;
  noiseAt: (target: Target) => PixelNoise;
}

const CELLS = 3;
const STARS_PER_CELL = 48;
const FEWEST_STARS = 4;
const FEWEST_CELLS = 4;
/** Differences of the cells so many standard deviations of chi² beyond its mean are more than chance. */
const MOST_BY_CHANCE = 2;
const MIN_SNR = 20;
/** Residuals are averaged over discs that hold about so many pixels. */
const PIXELS_PER_DISC = 12;
const NARROWEST_DISC_PX = 0.28;
/**
 * ... and over so much of the half-height width: a disc smooths what the residuals show of a kicked or comatic star's
 * middle, so it must be small; where they show next to nothing, a wide one has less noise and nothing to smooth.
 */
const DISC_PER_FWHM = { fine: 0.15, wide: 0.35 };
const WIDEST_DISC_PX = { fine: 1.5, wide: 3 };
type Disc = keyof typeof DISC_PER_FWHM;
/** Next to nothing: the residuals change the width by no more. */
const SMOOTH_RATIO = 0.01;
/** Nodes of the mean picture: so many to the disc's radius, and per pixel. */
const STEPS_PER_DISC = 2.3;
const [FEWEST_STEPS, MOST_STEPS] = [2, 5];

/**
 * No closed profile has the exact shape of a defocused, comatic or kicked star, nor of one averaged over a coarse
 * pixel; the area inside its half-height contour is then a few per cent off, for all stars of a region alike. So in
 * each of 3 x 3 cells the residuals of the brightest stars are laid over each other, a few to the pixel, added to the
 * cell's mean profile, and the half-height area of the sum is compared with that of the profile alone. Each star's
 * width is multiplied by the ratio, interpolated between the cells. A cell's ratio is known only so well: the more the
 * cells' differences are explained by their noise, the more they are drawn to the one ratio of the whole frame.
 */
export function calibrateWidths(
  space: Workspace,
  plane: Plane,
  samples: Sample[],
  settings: FitSettings,
): void {
  const cells = Array.from({ length: CELLS * CELLS }, () => [] as Sample[]);
  const usable = samples
    .filter(({ star }) => !(star.flags & (NOT_FOR_SHAPE | FLAG.ring)) && star.snr > MIN_SNR)
    .sort((a, b) => b.star.snr - a.star.snr);
  for (const sample of usable) {
    const cell = cells[cellOf(sample.star, plane)];
    if (cell.length < STARS_PER_CELL) cell.push(sample);
  }
  const { arena } = space.kernels;
  const mark = arena.mark();
  const groups = cells.map((members) => groupOf(space, members));
  const known = groups.filter((group) => group !== null).length;
  // Too few cells with stars of their own: then the frame's brightest speak for all.
  const whole = known < FEWEST_CELLS ? groupOf(space, usable.slice(0, STARS_PER_CELL)) : null;
  const needed = new Map<Sample, number>();
  for (const group of [whole, ...groups])
    for (const sample of group?.members ?? [])
      needed.set(sample, Math.max(needed.get(sample) ?? 0, group!.reachPx + discOf(space, group!, 'wide')));
  const residuals = new Map<Sample, StarResiduals>();
  for (const [sample, reachPx] of needed)
    residuals.set(sample, residualsOf(space, sample, settings, reachPx));
  const ratiosWith = (disc: Disc) => {
    const ratioOf = (group: Group | null) => group && widthRatio(space, group, residuals, disc);
    return allTogether(groups.map(ratioOf), ratioOf(whole));
  };
  const fine = ratiosWith('fine');
  const wide = fine.alike && Math.abs(fine.overall - 1) < SMOOTH_RATIO ? ratiosWith('wide') : null;
  const { ratios } = wide?.alike ? wide : fine;
  arena.reset(mark);
  const values = ratios.map((ratio) => ratio.value);
  const sigmas = ratios.map((ratio) => ratio.sigma);
  for (const { star } of samples) {
    const ratio = ratioAt(values, star, plane);
    star.fwhmSigmaPx = Math.hypot(star.fwhmSigmaPx * ratio, star.fwhmPx * ratioAt(sigmas, star, plane));
    star.fwhmPx *= ratio;
  }
}

/** What is within a ratio's own noise is left uncorrected. */
function trusted({ value, sigma }: Estimate): Estimate {
  const trust = value === 1 ? 0 : Math.max(0, 1 - sigma ** 2 / (value - 1) ** 2);
  return { value: 1 + (value - 1) * trust, sigma };
}

/** The ratio of each cell, the frame's, and whether all cells have the frame's. */
interface Together {
  ratios: Estimate[];
  overall: number;
  alike: boolean;
}

/** Ratios of all cells; `whole` is the frame's where too few cells have stars of their own. */
function allTogether(cells: (WidthRatio | null)[], whole: WidthRatio | null): Together {
  const pixels = [whole, ...cells].flatMap((ratio) => ratio?.pixel ?? []);
  const usual = whole?.pixel ?? (pixels.length > 0 ? median(pixels) : 1);
  const residuals = cells.map((cell) => (cell && cell.residual.sigma < Infinity ? cell.residual : null));
  const { spread, overall } = spreadOf(residuals, whole?.residual ?? { value: 1, sigma: 0 });
  const drawn = drawTogether(residuals, overall, spread);
  const ratios = drawn.map(({ value, sigma }, i) => {
    const pixel = cells[i]?.pixel ?? usual;
    return { value: value * pixel, sigma: sigma * pixel };
  });
  return { ratios, overall: overall.value, alike: spread === 0 };
}

/**
 * Variance of what cells truly differ by, beyond their noise (DerSimonian & Laird 1986, Controlled Clinical Trials 7, 177;
 * none where noise alone makes as much now and then), and the ratio of all: their mean, `other` where there are too few.
 */
function spreadOf(cells: (Estimate | null)[], other: Estimate): { spread: number; overall: Estimate } {
  const known = cells.filter((cell) => cell !== null);
  if (known.length < FEWEST_CELLS) return { spread: 0, overall: trusted(other) };
  const alone = meanOf(known, 0);
  const q = known.reduce((sum, { value, sigma }) => sum + ((value - alone.value) / sigma) ** 2, 0);
  const free = known.length - 1;
  const weights = known.map(({ sigma }) => sigma ** -2);
  const total = weights.reduce((sum, weight) => sum + weight, 0);
  const scale = total - weights.reduce((sum, weight) => sum + weight ** 2, 0) / total;
  const spread = q > free + MOST_BY_CHANCE * Math.sqrt(2 * free) ? (q - free) / scale : 0;
  return { spread, overall: trusted(meanOf(known, spread)) };
}

/**
 * Empirical Bayes: each cell is drawn to the overall ratio by the share of its noise in the sum of noise and spread
 * (James & Stein 1961). Cells without a ratio take the overall one.
 */
function drawTogether(cells: (Estimate | null)[], overall: Estimate, spread: number): Estimate[] {
  return cells.map((cell) => {
    if (!cell) return { value: overall.value, sigma: Math.hypot(overall.sigma, Math.sqrt(spread)) };
    const noise = cell.sigma ** 2;
    const share = spread / (spread + noise);
    return {
      value: overall.value + share * (cell.value - overall.value),
      sigma: Math.sqrt(share * noise + (1 - share) * overall.sigma ** 2),
    };
  });
}

/** Mean of estimates that truly differ by a variance `spread`. */
function meanOf(estimates: Estimate[], spread: number): Estimate {
  let [sum, total] = [0, 0];
  for (const { value, sigma } of estimates) {
    const weight = 1 / (sigma ** 2 + spread);
    sum += weight * value;
    total += weight;
  }
  return { value: sum / total, sigma: Math.sqrt(1 / total) };
}

function cellOf({ xPx, yPx }: MeasuredStar, { widthPx, heightPx }: Plane): number {
  const index = (value: number, size: number) =>
    Math.max(0, Math.min(CELLS - 1, Math.floor(((value + 0.5) * CELLS) / size)));
  return index(yPx, heightPx) * CELLS + index(xPx, widthPx);
}

/** Linear between the cells' centres, level outside them. */
function ratioAt(ratios: number[], { xPx, yPx }: MeasuredStar, { widthPx, heightPx }: Plane): number {
  const place = (value: number, size: number) =>
    Math.max(0, Math.min(CELLS - 1, ((value + 0.5) * CELLS) / size - 0.5));
  const fx = place(xPx, widthPx);
  const fy = place(yPx, heightPx);
  const i = Math.min(Math.floor(fx), CELLS - 2);
  const j = Math.min(Math.floor(fy), CELLS - 2);
  const u = fx - i;
  const v = fy - j;
  const at = (col: number, row: number) => ratios[row * CELLS + col];
  return (
    (1 - v) * ((1 - u) * at(i, j) + u * at(i + 1, j)) + v * ((1 - u) * at(i, j + 1) + u * at(i + 1, j + 1))
  );
}

/** Stars whose residuals are laid over each other, and about what. */
interface Group {
  members: Sample[];
  /** Unit-flux profile with the median curvature of the stars'. */
  mean: Profile;
  fwhmPx: number;
  /** How far the picture reaches. */
  reachPx: number;
}

/** Null when there are too few. */
function groupOf(space: Workspace, members: Sample[]): Group | null {
  if (members.length < FEWEST_STARS) return null;
  const mean = meanProfile(members);
  const { fwhmPx } = shapeOf(seenProfile(space, mean));
  return { members, mean, fwhmPx, reachPx: 1.1 * fwhmPx + 1 };
}

/** Radius of the discs that a group's pixels are spread over. */
function discOf(space: Workspace, { members, fwhmPx }: Group, disc: Disc): number {
  const density = members.length * space.siteShare;
  const forNoise = Math.sqrt(PIXELS_PER_DISC / density / Math.PI);
  const forWidth = Math.max(NARROWEST_DISC_PX, DISC_PER_FWHM[disc] * fwhmPx);
  return Math.min(WIDEST_DISC_PX[disc], Math.max(forWidth, forNoise));
}

/** The residuals of one star as far as some picture reaches. */
function residualsOf(
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

/** Factors of the half-height width that a profile does not tell. */
interface WidthRatio {
  /** The mean profile as the pixels hold it over its closed form: exact. */
  pixel: number;
  /** With the stars' mean residuals over without: as well known as they. */
  residual: Estimate;
}

/** Half-height width of the stars' mean picture over that of their mean profile; null where it makes no sense. */
function widthRatio(
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
