import { median } from '../math/robust.ts';
import { FLAG, NOT_FOR_SHAPE } from '../protocol/flags.ts';
import type { Estimate } from '../protocol/report.ts';
import type { Plane } from '../wasm/plane.ts';
import { halfPeakDiameterPx } from './contour.ts';
import { measureGrowth } from './growth.ts';
import { MeanResidual, STEPS_PER_PX } from './mean-residual.ts';
import { profileFlux, seenProfile, shapeOf, type PixelNoise, type Profile } from './profile.ts';
import { fitTarget, type MeasuredStar, type Target } from './star.ts';
import type { Workspace } from './workspace.ts';
import type { Moments } from '../math/shape.ts';

/** A measured star and where its pixels are. */
export interface Sample {
  star: MeasuredStar;
  target: Target;
}

export interface FitSettings {
  shape: Moments;
  k: number;
  radiusPx: number;
  noiseAt: (target: Target) => PixelNoise;
}

const CELLS = 3;
const STARS_PER_CELL = 60;
const FEWEST_STARS = 4;
const MIN_SNR = 20;
/** Variance of a width ratio times the squared signal to noise behind it, from simulated round stars. */
const RATIO_NOISE = 1.5;
/** Residuals are averaged over discs that hold about so many pixels. */
const PIXELS_PER_DISC = 12;
const NARROWEST_DISC_PX = 0.28;
/** The disc's own width adds (this / 2.4)² / 2 of the star's variance to the residual's, not to the star's. */
const DISC_PER_FWHM = 0.15;
const WIDEST_DISC_PX = 1.5;

/**
 * No closed profile has the exact shape of a defocused, comatic or kicked star, nor of one averaged over a coarse
 * pixel; the area inside its half-height contour is then a few per cent off, for all stars of a region alike. So in
 * each of 3 x 3 cells the residuals of the brightest stars are laid over each other, a few to the pixel, added to the
 * cell's mean profile, and the half-height area of the sum is compared with that of the profile alone. Each star's
 * width is multiplied by the ratio, interpolated between the cells; what is within the ratio's own noise is left.
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
  const overall = widthRatio(space, usable.slice(0, STARS_PER_CELL), settings) ?? { value: 1, sigma: 0 };
  const ratios = cells.map((cell) => widthRatio(space, cell, settings) ?? overall);
  const values = ratios.map((ratio) => ratio.value);
  const sigmas = ratios.map((ratio) => ratio.sigma);
  for (const { star } of samples) {
    const ratio = ratioAt(values, star, plane);
    star.fwhmSigmaPx = Math.hypot(star.fwhmSigmaPx * ratio, star.fwhmPx * ratioAt(sigmas, star, plane));
    star.fwhmPx *= ratio;
  }
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

/** Half-height width of the stars' mean picture over that of their mean profile; null when there are too few. */
function widthRatio(space: Workspace, samples: Sample[], settings: FitSettings): Estimate | null {
  if (samples.length < FEWEST_STARS) return null;
  const mean = meanProfile(space, samples, settings);
  if (!mean) return null;
  const { fwhmPx } = shapeOf(seenProfile(space, mean));
  const reachPx = 1.1 * fwhmPx + 1;
  const density = samples.length * space.siteShare;
  const discPx = Math.min(
    WIDEST_DISC_PX,
    Math.max(NARROWEST_DISC_PX, DISC_PER_FWHM * fwhmPx, Math.sqrt(PIXELS_PER_DISC / density / Math.PI)),
  );
  const picture = new MeanResidual(reachPx, discPx);
  let information = 0;
  for (const { target, star } of samples) {
    const noise = settings.noiseAt(target);
    const { profile, gathered } = fitTarget(
      space,
      target,
      settings.shape,
      settings.k,
      settings.radiusPx,
      noise,
    );
    if (!profile) continue;
    measureGrowth(space, gathered.count, profile, settings.radiusPx, true);
    const flux = profileFlux(profile.amplitude, profile.a * profile.b - profile.c ** 2, profile.k);
    // A very bright star must not stand for the whole cell.
    const weight = Math.min(star.snr, 200) ** 2;
    information += star.snr ** 2;
    space.eachPixel(gathered.count, (_, residual, x, y) =>
      picture.add(x - profile.dx, y - profile.dy, residual / flux, weight),
    );
  }
  picture.sharpen();
  const values = picture.values((dx, dy) => pixelValue(space, mean, dx, dy));
  const ratio = halfPeakDiameterPx(values, picture.side, 1 / STEPS_PER_PX) / fwhmPx;
  if (!(ratio > 0.4 && ratio < 2.5)) return null;
  // The ratio's own noise is about that of one star with all the stars' light; what it can explain is not corrected.
  const variance = RATIO_NOISE / information;
  const trust = Math.max(0, 1 - variance / (ratio - 1) ** 2);
  return { value: 1 + (ratio - 1) * trust, sigma: Math.sqrt(variance) };
}

/** Unit-flux profile with the median curvature of the stars'. */
function meanProfile(space: Workspace, samples: Sample[], settings: FitSettings): Profile | null {
  const profiles = samples
    .map(({ target }) =>
      fitTarget(space, target, settings.shape, settings.k, settings.radiusPx, settings.noiseAt(target)),
    )
    .map(({ profile }) => profile)
    .filter((profile) => profile !== null);
  if (profiles.length < FEWEST_STARS) return null;
  const pick = (name: 'a' | 'b' | 'c') => median(profiles.map((profile) => profile[name]));
  const mean = { ...profiles[0], a: pick('a'), b: pick('b'), c: pick('c') };
  mean.amplitude = 1 / profileFlux(1, mean.a * mean.b - mean.c ** 2, mean.k);
  return mean;
}

const profileAt = ({ amplitude, a, b, c, k }: Profile, dx: number, dy: number): number =>
  amplitude * (1 + k * (a * dx * dx + 2 * c * dx * dy + b * dy * dy)) ** (-1 / k);

/** What a pixel at (dx, dy) from the centre of the profile holds. */
function pixelValue(space: Workspace, profile: Profile, dx: number, dy: number): number {
  let sum = 0;
  for (const [x, y, weight] of space.rule) sum += weight * profileAt(profile, dx + x, dy + y);
  return sum;
}
