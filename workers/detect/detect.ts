import { measureSky, type Sky } from '../background/sky.ts';
import { axes, mahalanobis2, width, type Moments } from '../math/shape.ts';
import type { Kernels } from '../wasm/kernels.ts';
import { ALL_SITES, type Plane } from '../wasm/plane.ts';
import type { Patch, Peak } from './components.ts';
import { scan } from './scan.ts';
import { typicalShape } from './scale.ts';

/** Something that may be a star. */
export interface Candidate {
  xPx: number;
  yPx: number;
  /** Height in the filtered frame over its noise: about the signal to noise of a star that suits the filter. */
  significance: number;
  /** Pixels above the threshold in its patch, and the patch's longer side; shared with whatever else lies in it. */
  patchPixels: number;
  patchSpanPx: number;
}

export interface Detection {
  candidates: Candidate[];
  /** What a star of this frame looks like. */
  shape: Moments;
}

/** First look: a Gaussian that suits stars of 2 to 5 px; wider on a mosaic, whose sites stand further apart. */
const FIRST_SIGMA_PX = 1.2;
const FIRST_SIGMA_MOSAIC_PX = 1.4;
const DEFAULT_SHAPE: Moments = { xx: 1.5, yy: 1.5, xy: 0 };

/**
 * Finds stars of any size: a first pass with a narrow filter tells what the frame's stars look like; where they are
 * much wider than the filter (defocused rings, long trails) the frame is averaged down to their scale and searched
 * again. Peaks closer than the typical star's own extent are one star, whatever its shape.
 * Null when the frame is covered with structure.
 */
export function detectStars(plane: Plane, sky: Sky, kernels: Kernels): Detection | null {
  const firstSigma = plane.sites === ALL_SITES ? FIRST_SIGMA_PX : FIRST_SIGMA_MOSAIC_PX;
  let patches = scan(plane, sky, firstSigma, kernels);
  if (!patches) return null;
  const shape = typicalShape(plane, sky, patches, kernels) ?? DEFAULT_SHAPE;
  const sizePx = width(shape);
  const factor = Math.max(1, Math.floor(sizePx / 2));
  if (factor > 1) {
    patches = scanBinned(plane, factor, sizePx, kernels);
    if (!patches) return null;
  } else if (filterLoss(firstSigma, sizePx) < 0.85) {
    patches = scan(plane, sky, Math.min(2, Math.max(0.8, sizePx)), kernels);
    if (!patches) return null;
  }
  return { candidates: mergePeaks(patches, shape, factor), shape };
}

/** Signal to noise of a Gaussian star of width `star` in a filter of width `filter`, over that in its own. */
const filterLoss = (filter: number, star: number) => (2 * filter * star) / (filter ** 2 + star ** 2);

function scanBinned(plane: Plane, factor: number, sizePx: number, kernels: Kernels): Patch[] | null {
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
  const sky = measureSky(binned, kernels);
  const patches = scan(binned, sky, Math.min(2, sizePx / factor), kernels);
  arena.reset(mark);
  return patches;
}

/** Peaks of all patches, strongest first; one within the reach of a stronger one is part of the same star. */
function mergePeaks(patches: Patch[], shape: Moments, factor: number): Candidate[] {
  const peaks = patches
    .flatMap((patch) => patch.peaks.map((peak) => ({ ...peak, patch })))
    .sort((a, b) => b.significance - a.significance);
  // A Gaussian star ends at 2.5 sigma; a straight trail of uniform light reaches 3.5 of its own rms from end to end.
  const { major, minor } = axes(shape);
  const reach = 2.5 + 1.1 * (1 - minor / major);
  const radiusPx = Math.max(3, reach * major);
  const cells = new Map<string, Group[]>();
  const groups: Group[] = [];
  for (const peak of peaks) {
    const x = (peak.x + 0.5) * factor - 0.5;
    const y = (peak.y + 0.5) * factor - 0.5;
    const owner = nearby(cells, x, y, radiusPx).find((group) => {
      const dx = x - group.x;
      const dy = y - group.y;
      return Math.hypot(dx, dy) < 3 * factor || mahalanobis2(shape, dx, dy) < reach * reach;
    });
    if (owner) {
      owner.add(x, y, peak);
      continue;
    }
    const group = new Group(x, y, peak, peak.patch, factor);
    groups.push(group);
    const key = cellKey(x, y, radiusPx);
    cells.set(key, [...(cells.get(key) ?? []), group]);
  }
  return groups.map((group) => group.candidate());
}

/** Peaks that belong to one star; it grows about its strongest peak. */
class Group {
  private weight: number;
  private sumX: number;
  private sumY: number;

  constructor(
    readonly x: number,
    readonly y: number,
    private readonly strongest: Peak,
    private readonly patch: Patch,
    private readonly factor: number,
  ) {
    this.weight = strongest.significance;
    this.sumX = x * this.weight;
    this.sumY = y * this.weight;
  }

  add(x: number, y: number, peak: Peak): void {
    this.weight += peak.significance;
    this.sumX += x * peak.significance;
    this.sumY += y * peak.significance;
  }

  candidate(): Candidate {
    const { patch, factor } = this;
    return {
      xPx: this.sumX / this.weight,
      yPx: this.sumY / this.weight,
      significance: this.strongest.significance,
      patchPixels: patch.pixels * factor * factor,
      patchSpanPx: Math.max(patch.x1 - patch.x0, patch.y1 - patch.y0) * factor,
    };
  }
}

const cellKey = (x: number, y: number, size: number) => `${Math.floor(x / size)},${Math.floor(y / size)}`;

function nearby(cells: Map<string, Group[]>, x: number, y: number, size: number): Group[] {
  const found: Group[] = [];
  for (let j = -1; j <= 1; j++)
    for (let i = -1; i <= 1; i++) found.push(...(cells.get(cellKey(x + i * size, y + j * size, size)) ?? []));
  return found;
}
