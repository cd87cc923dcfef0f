import { meshAt, type Sky } from '../background/sky.ts';
import type { Candidate, Detection } from '../detect/detect.ts';
import { median } from '../math/robust.ts';
import { axes, width, type Moments } from '../math/shape.ts';
import { FLAG } from '../protocol/flags.ts';
import type { Kernels } from '../wasm/kernels.ts';
import type { Plane } from '../wasm/plane.ts';
import { calibrateWidths, type FitSettings, type Sample } from './calibrate.ts';
import { NoiseSamples } from './gain.ts';
import { measureGrowth, NO_HALO, type Halo } from './growth.ts';
import { frameHalo } from './halo.ts';
import { MeanResidual } from './mean-residual.ts';
import { judgePlateaus, judgeShapes } from './judge.ts';
import { NeighbourIndex } from './neighbours.ts';
import { shapeOf, type PixelNoise } from './profile.ts';
import { fitTarget, measureStar, type MeasuredStar, type Target } from './star.ts';
import { USUAL_EXPONENT, WING_EXPONENTS, wingExponent } from './wings.ts';
import { Workspace } from './workspace.ts';

/** Electrons behind a stored unit; null when nobody knows. */
export interface Gain {
  unitsPerElectron: number | null;
  /** The stored value of 0 ADU; 0 when not said. */
  zeroStored?: number;
}

export interface Measurement {
  stars: MeasuredStar[];
  /** Wing exponent 1/beta shared by the frame. */
  k: number;
  radiusPx: number;
  /** Stored units per electron: as given, or as the frame itself tells. */
  unitsPerElectron: number;
  /** The profile was averaged over the pixel. */
  narrow: boolean;
}

/** Stars that decide on the wings. */
const WING_STARS = 30;
/** Stars narrower than this are averaged over the pixel's area in the fit; wider ones hardly change across it. */
const NARROW_PX = 2.4;
/** Stars for the gain: fainter ones have no photon noise to speak of, brighter ones show the profile's misfit. */
const GAIN_SIGNIFICANCE = { least: 15, best: 50 };
const GAIN_STARS = 150;
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
  const noiseAt = (target: Target): PixelNoise => ({ skyVariance: target.sigma ** 2, unitsPerElectron });

  const { bright, fwhmPx } = brightTargets(space, field, shape, radiusPx);
  const narrow = fwhmPx < NARROW_PX;
  space.integratePixels(narrow);
  let k = frameWings(space, bright, shape, radiusPx, noiseAt);
  if (gain.unitsPerElectron === null) {
    unitsPerElectron = frameGain(space, field, shape, radiusPx, k, gain.zeroStored ?? 0);
    k = frameWings(space, bright, shape, radiusPx, noiseAt);
  }
  const halo = wideHalo(kernels, plane, bright, { shape, k, radiusPx, noiseAt }, fwhmPx, narrow);
  const samples: Sample[] = [];
  candidates.forEach((_, index) => {
    if (index % 64 === 0) onProgress(index);
    const target = field.target(index);
    const star = measureStar(space, target, shape, k, radiusPx, noiseAt(target), halo);
    if (!star || star.snr < MIN_SNR) return;
    if (field.blended(index)) star.flags |= FLAG.blended;
    if (field.nearBorder(star)) star.flags |= FLAG.edge;
    samples.push({ star, target });
  });
  const stars = samples.map((sample) => sample.star);
  judgePlateaus(stars);
  judgeShapes(stars);
  calibrateWidths(space, plane, samples, { shape, k, radiusPx, noiseAt });
  kernels.arena.reset(mark);
  const kept = withoutTwins(
    stars.filter((star) => !(star.flags & FLAG.sharp)),
    width(shape),
    plane.widthPx,
  );
  return { stars: kept.sort((a, b) => b.flux - a.flux), k, radiusPx, unitsPerElectron, narrow };
}

/** The halo out to five widths, measured in a workspace of its own. */
function wideHalo(
  kernels: Kernels,
  plane: Plane,
  bright: Target[],
  { shape, k, radiusPx, noiseAt }: FitSettings,
  fwhmPx: number,
  narrow: boolean,
): Halo {
  const widePx = Math.min(Math.max(HALO_WIDTHS * fwhmPx, radiusPx), 2 * radiusPx);
  if (!(widePx > radiusPx)) return NO_HALO;
  const mark = kernels.arena.mark();
  const wide = new Workspace(kernels, plane, widePx);
  wide.integratePixels(narrow);
  const halo = frameHalo(wide, bright, shape, k, radiusPx, noiseAt);
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
  for (const target of field.loneStars({ least: 30, most: Infinity }, 4 * WING_STARS)) {
    if (bright.length === WING_STARS) break;
    const noise = { skyVariance: target.sigma ** 2, unitsPerElectron: 0 };
    const { profile, gathered } = fitTarget(space, target, shape, USUAL_EXPONENT, radiusPx, noise);
    if (!profile || gathered.saturated > 0 || gathered.outside > 0) continue;
    bright.push(target);
    widths.push(shapeOf(profile).fwhmPx);
  }
  return { bright, fwhmPx: median(widths) };
}

function frameWings(
  space: Workspace,
  bright: Target[],
  shape: Moments,
  radiusPx: number,
  noiseAt: (target: Target) => PixelNoise,
): number {
  return wingExponent(
    bright.map((target) =>
      WING_EXPONENTS.map(
        (k) => fitTarget(space, target, shape, k, radiusPx, noiseAt(target)).profile?.deviance ?? NaN,
      ),
    ),
  );
}

/**
 * Stored units per electron from the residuals of moderately bright stars. What the stars' residuals share is misfit of
 * the profile, not noise, and is taken out first; each star takes it from the other half of the stars, so that its own
 * noise stays.
 */
function frameGain(
  space: Workspace,
  field: Field,
  shape: Moments,
  radiusPx: number,
  k: number,
  zeroStored: number,
): number {
  const { major } = axes(shape);
  const halves = [0, 1].map(() => new MeanResidual(3 * major + 1, Math.max(0.35, 0.35 * major)));
  const samples = new NoiseSamples();
  for (const round of ['share', 'sample'] as const) {
    if (round === 'sample') for (const half of halves) half.sharpen();
    for (const [index, target] of field.starsNear(GAIN_SIGNIFICANCE, GAIN_STARS).entries()) {
      const noise = { skyVariance: target.sigma ** 2, unitsPerElectron: 0 };
      const { profile, gathered } = fitTarget(space, target, shape, k, radiusPx, noise);
      if (!profile || gathered.saturated > 0) continue;
      const { flux } = shapeOf(profile);
      measureGrowth(space, gathered.count, profile, radiusPx, true);
      const pixels: { light: number; residual: number }[] = [];
      space.eachPixel(gathered.count, (value, residual, x, y) => {
        const [dx, dy] = [x - profile.dx, y - profile.dy];
        if (round === 'share') halves[index % 2].add(dx, dy, residual / flux, flux ** 2);
        else
          pixels.push({
            light: value - profile.base - residual,
            residual: residual - flux * halves[(index + 1) % 2].at(dx, dy),
          });
      });
      if (round === 'sample') samples.addStar(pixels, noise.skyVariance);
    }
  }
  const { level, sigma } = field.sky();
  return samples.unitsPerElectron({ skyVariance: sigma ** 2, skyLevel: level - zeroStored });
}

/** The candidates in their surroundings. */
class Field {
  private readonly index: NeighbourIndex;
  private readonly sizePx: number;

  constructor(
    private readonly plane: Plane,
    private readonly mesh: Sky,
    readonly candidates: Candidate[],
    shape: Moments,
    private readonly radiusPx: number,
  ) {
    this.sizePx = axes(shape).major;
    this.index = new NeighbourIndex(
      candidates.map((candidate) => candidate.xPx),
      candidates.map((candidate) => candidate.yPx),
      2 * radiusPx,
      plane.widthPx,
    );
  }

  /** The frame's usual sky and noise, stored units. */
  sky(): { level: number; sigma: number } {
    return { level: median(this.mesh.levels), sigma: median(this.mesh.sigmas) };
  }

  /** Candidates within a range of significance that nothing overlaps, brightest first. */
  *loneStars({ least, most }: { least: number; most: number }, count: number): Generator<Target> {
    for (let index = 0; index < this.candidates.length && count > 0; index++) {
      const { significance } = this.candidates[index];
      if (significance < least || significance > most || this.blended(index)) continue;
      count--;
      yield this.target(index);
    }
  }

  /** Lone candidates above the least significance, those whose significance is nearest to the best (by ratio) first. */
  starsNear({ least, best }: { least: number; best: number }, count: number): Target[] {
    const away = (index: number) => Math.abs(Math.log(this.candidates[index].significance / best));
    return Array.from(this.candidates.keys())
      .filter((index) => this.candidates[index].significance >= least)
      .sort((i, j) => away(i) - away(j))
      .slice(0, 4 * count)
      .filter((index) => !this.blended(index))
      .slice(0, count)
      .map((index) => this.target(index));
  }

  target(index: number): Target {
    const { xPx, yPx, significance } = this.candidates[index];
    const cx = Math.round(xPx);
    const cy = Math.round(yPx);
    // A bright neighbour's wings reach further: two and a half widths, and more by the logarithm of its height.
    const neighbours = this.index.around(index, this.radiusPx + 4 * this.sizePx).map((other) => {
      const near = this.candidates[other];
      const apart = Math.hypot(near.xPx - xPx, near.yPx - yPx);
      const reach = this.sizePx * (2 + 0.4 * Math.log(Math.max(near.significance / 5, 1))) + 1;
      // Never mask past the middle between the two, weighted by their brightness.
      const share = 1 / (1 + Math.sqrt(significance / near.significance));
      const radius = Math.min(reach, apart * Math.max(0.25, Math.min(0.75, share)));
      return [near.xPx - cx, near.yPx - cy, radius * radius] as [number, number, number];
    });
    return {
      xPx,
      yPx,
      level: meshAt(this.mesh, this.mesh.levels, this.plane, xPx, yPx),
      sigma: meshAt(this.mesh, this.mesh.sigmas, this.plane, xPx, yPx),
      neighbours,
    };
  }

  /** Its light overlaps: a neighbour with a tenth of the light within 4 widths, or a brighter one within 6. */
  blended(index: number): boolean {
    const own = this.candidates[index];
    if (own.double) return true;
    return this.index.around(index, Math.min(6 * this.sizePx, 2 * this.radiusPx)).some((other) => {
      const near = this.candidates[other];
      const ratio = near.significance / own.significance;
      const apart = Math.hypot(near.xPx - own.xPx, near.yPx - own.yPx) / this.sizePx;
      return (apart < 4 && ratio > 0.1) || (apart < 6 && ratio > 1.5);
    });
  }

  nearBorder({ xPx, yPx, fwhmPx, hfdPx }: MeasuredStar): boolean {
    const margin = 1.5 * (Number.isNaN(fwhmPx) ? hfdPx : fwhmPx);
    const { widthPx, heightPx } = this.plane;
    return xPx < margin || yPx < margin || xPx > widthPx - 1 - margin || yPx > heightPx - 1 - margin;
  }
}

/** Two candidates that settled on one star: the brighter stays. */
function withoutTwins(stars: MeasuredStar[], sizePx: number, widthPx: number): MeasuredStar[] {
  const reach = Math.max(1.5, sizePx);
  const index = new NeighbourIndex(
    stars.map((star) => star.xPx),
    stars.map((star) => star.yPx),
    Math.max(8, reach),
    widthPx,
  );
  return stars.filter((star, i) => !index.around(i, reach).some((other) => stars[other].snr > star.snr));
}
