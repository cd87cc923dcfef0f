import { measureSky, type Sky } from '../background/sky.ts';
import { median } from '../math/robust.ts';
import { axes, mahalanobis2, width, type Moments } from '../math/shape.ts';
import type { Kernels } from '../wasm/kernels.ts';
import { ALL_SITES, type Plane } from '../wasm/plane.ts';
import { brightestFirst, isSpotGrid } from './companions.ts';
import { Cells } from './cells.ts';
import type { Patch } from './components.ts';
import { filterSigmaPx, scan } from './scan.ts';
import { typicalShape } from './scale.ts';

/** Something that may be a star. */
export interface Candidate {
  xPx: number;
  yPx: number;
  /** Height in the filtered frame over its noise: about the signal to noise of a star that suits the filter. */
  significance: number;
  /** A second peak stands in it that the frame's typical star does not have: two stars close together. */
  double: boolean;
}

export interface Detection {
  candidates: Candidate[];
  /** What a star of this frame looks like. */
  shape: Moments;
  /** The spots stand in a regular grid: some instrument's test pattern, no sky. */
  grid: boolean;
  /** Straight trails of satellites and aeroplanes that were left out. */
  trails: number;
}

/** First look: a Gaussian that suits stars of 2 to 5 px; wider on a mosaic, whose sites stand further apart. */
const FIRST_SIGMA_PX = 1.2;
const FIRST_SIGMA_MOSAIC_PX = 1.4;
const DEFAULT_SHAPE: Moments = { xx: 1.5, yy: 1.5, xy: 0 };
/** A filter may lose so much of a star's signal to noise before the frame is searched again with a better one. */
const TOLERABLE_LOSS = 0.85;

/**
 * Finds stars of any size: a first pass with a narrow filter tells what the frame's stars look like; where they are
 * wider than the filter (defocused rings, trails) the frame is searched again at their scale, averaged down if need be.
 * Long stars are searched at two scales: that of their width, where kicked ones are brightest, and that of their area.
 * Peaks closer than the typical star's own extent are one star, whatever its shape.
 * Null when the frame is covered with structure.
 */
export function detectStars(plane: Plane, sky: Sky, kernels: Kernels): Detection | null {
  const firstSigma = plane.sites === ALL_SITES ? FIRST_SIGMA_PX : FIRST_SIGMA_MOSAIC_PX;
  const first = scan(plane, sky, firstSigma, kernels);
  if (!first) return null;
  const peaks = brightestFirst(first);
  const shape = typicalShape(plane, sky, first, peaks, kernels) ?? DEFAULT_SHAPE;
  const { minor } = axes(shape);
  const scales = width(shape) > 1.4 * minor ? [minor, width(shape)] : [width(shape)];
  const found: Spot[] = [];
  let trails = 0;
  for (const scalePx of scales) {
    const suits = filterLoss(filterSigmaPx(firstSigma), scalePx) >= TOLERABLE_LOSS;
    const factor = suits ? 1 : Math.max(1, Math.floor(scalePx / 2));
    const patches = suits ? first : scanScale(plane, sky, scalePx, factor, kernels);
    if (!patches) return null;
    const lines = patches.filter((patch) => isLine(patch, axes(shape).major / factor));
    trails = Math.max(trails, lines.length);
    for (const patch of patches) found.push(...spotsOf(patch, lines.includes(patch), factor));
  }
  // A trail's own peaks follow on each other as evenly as a pattern's.
  const spots = first.filter((patch) => !isLine(patch, axes(shape).major));
  const grid = isSpotGrid(spots.length < first.length ? brightestFirst(spots) : peaks);
  return { candidates: mergeSpots(found, shape), shape, grid, trails };
}

/** Signal to noise of a Gaussian star of width `star` in a filter of width `filter`, over that in its own. */
const filterLoss = (filter: number, star: number) => (2 * filter * star) / (filter ** 2 + star ** 2);

/** Searches at a scale; with a factor above 1 in a copy of the frame averaged over blocks of that side. */
function scanScale(
  plane: Plane,
  sky: Sky,
  scalePx: number,
  factor: number,
  kernels: Kernels,
): Patch[] | null {
  if (factor === 1) return scan(plane, sky, Math.min(2, Math.max(0.8, scalePx)), kernels);
  const { run, arena } = kernels;
  const mark = arena.mark();
  const binned: Plane = {
    kind: 'f32',
    widthPx: Math.floor(plane.widthPx / factor),
    heightPx: Math.floor(plane.heightPx / factor),
    address: 0,
    sites: ALL_SITES,
    saturationStored: plane.saturationStored,
  };
  binned.address = arena.alloc(binned.widthPx * binned.heightPx * 4);
  const bin = plane.kind === 'u16' ? run.binU16 : run.binF32;
  bin(plane.address, plane.widthPx, plane.heightPx, factor, plane.sites, binned.address);
  const binnedSky = measureSky(binned, kernels);
  const patches = scan(binned, binnedSky, Math.min(2, scalePx / factor), kernels);
  arena.reset(mark);
  return patches;
}

const LINE_PX = 100;
const LINE_PEAKS = 8;

/** Whether a patch is one straight trail far longer than the stars: its peaks lie on a line. */
function isLine({ x0, x1, y0, y1, peaks }: Patch, starMajorPx: number): boolean {
  const spanPx = Math.hypot(x1 - x0, y1 - y0);
  if (spanPx < Math.max(LINE_PX, 12 * starMajorPx) || peaks.length < LINE_PEAKS) return false;
  // Perpendicular scatter of the peaks about their principal axis, robust against a star that the trail runs over.
  const mx = peaks.reduce((sum, peak) => sum + peak.x, 0) / peaks.length;
  const my = peaks.reduce((sum, peak) => sum + peak.y, 0) / peaks.length;
  const moments = { xx: 0, yy: 0, xy: 0 };
  for (const { x, y } of peaks) {
    moments.xx += (x - mx) ** 2;
    moments.yy += (y - my) ** 2;
    moments.xy += (x - mx) * (y - my);
  }
  const angle = 0.5 * Math.atan2(2 * moments.xy, moments.xx - moments.yy);
  const across = peaks.map(({ x, y }) => Math.abs(-(x - mx) * Math.sin(angle) + (y - my) * Math.cos(angle)));
  return median(across) < Math.max(2.5, 1.5 * starMajorPx);
}

/** A peak in full-frame pixels. */
interface Spot {
  xPx: number;
  yPx: number;
  significance: number;
  /** Side of the blocks that it was found with. */
  factor: number;
}

/** A patch's peaks; of a trail only those that stand well above the rest of it. */
function spotsOf(patch: Patch, line: boolean, factor: number): Spot[] {
  const floor = line ? 3 * median(patch.peaks.map((peak) => peak.significance)) : 0;
  return patch.peaks
    .filter((peak) => peak.significance > floor)
    .map((peak) => ({
      xPx: (peak.x + peak.dx + 0.5) * factor - 0.5,
      yPx: (peak.y + peak.dy + 0.5) * factor - 0.5,
      significance: peak.significance,
      factor,
    }));
}

/** Strongest first; a spot within the reach of a stronger one is part of the same star. */
function mergeSpots(spots: Spot[], shape: Moments): Candidate[] {
  const sorted = spots.sort((a, b) => b.significance - a.significance);
  // A Gaussian star ends at 2.5 sigma; a straight trail of uniform light reaches 3.5 of its own rms from end to end.
  const { major, minor } = axes(shape);
  const reach = 2.5 + 1.1 * (1 - minor / major);
  const coarsest = sorted.reduce((most, spot) => Math.max(most, spot.factor), 1);
  const cellPx = Math.max(3 * coarsest, reach * major);
  const groups: Group[] = [];
  const cells = new Cells(sorted.length, cellPx);
  for (const spot of sorted) {
    const { xPx, yPx } = spot;
    const owner = cells.first(xPx, yPx, (index) => {
      const { seed } = groups[index];
      const dx = xPx - seed.xPx;
      const dy = yPx - seed.yPx;
      const close = 3 * Math.max(spot.factor, seed.factor);
      return dx * dx + dy * dy < close * close || mahalanobis2(shape, dx, dy) < reach * reach;
    });
    if (owner >= 0) {
      groups[owner].add(spot);
      continue;
    }
    cells.add(groups.length, xPx, yPx);
    groups.push(new Group(spot));
  }
  // Rings, trails and kicked stars have several peaks each; only where most have one does a second mean something.
  const several = groups.filter((group) => group.second).length;
  const unusual = several < COMMON_SHARE * groups.length;
  return groups.map((group) => group.candidate(unusual));
}

/** More stars than this with a second peak: it belongs to the frame's stars. */
const COMMON_SHARE = 0.25;
/** A second peak counts from this share of the first. */
const SECOND_SHARE = 0.1;

/** Spots that belong to one star; it grows about its strongest, at the mean of those of the same scale. */
class Group {
  /** Whether another peak of some height joined, found in the frame at full size. */
  second = false;
  private weight = 0;
  private sumX = 0;
  private sumY = 0;

  constructor(readonly seed: Spot) {
    this.add(seed);
  }

  add({ xPx, yPx, significance, factor }: Spot): void {
    if (factor !== this.seed.factor) return;
    const apart = Math.hypot(xPx - this.seed.xPx, yPx - this.seed.yPx);
    if (apart > 1.5 && significance > SECOND_SHARE * this.seed.significance) this.second = true;
    this.weight += significance;
    this.sumX += xPx * significance;
    this.sumY += yPx * significance;
  }

  candidate(unusual: boolean): Candidate {
    return {
      xPx: this.sumX / this.weight,
      yPx: this.sumY / this.weight,
      significance: this.seed.significance,
      double: unusual && this.second,
    };
  }
}
