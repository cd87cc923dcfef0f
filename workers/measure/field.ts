import { meshAt, type Sky } from '../background/sky.ts';
import type { Candidate } from '../detect/detect.ts';
import { median } from '../math/robust.ts';
import { axes, type Moments } from '../math/shape.ts';
import type { Kernels } from '../wasm/kernels.ts';
import type { Plane } from '../wasm/plane.ts';
import { NeighbourIndex } from './neighbours.ts';
import { skyGroups, type SkyGroup } from './sky-noise.ts';
import type { MeasuredStar, Target } from './star.ts';

/** The candidates in their surroundings. */
export class Field {
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
      // Of the two questions asked below.
      Math.max(2 * radiusPx, radiusPx + 4 * this.sizePx),
    );
  }

  /** The frame's usual sky and noise, and the step of its values, stored units. */
  sky(): { level: number; sigma: number; quantum: number } {
    const { levels, sigmas, quantum } = this.mesh;
    return { level: median(levels), sigma: median(sigmas), quantum };
  }

  /** Level and noise of the sky between the stars, by level. */
  skyGroups(kernels: Kernels): SkyGroup[] {
    return skyGroups(this.plane, this.mesh, this.candidates, this.sizePx, kernels);
  }

  /** Candidates of at least this significance that nothing overlaps, strongest first. */
  *loneStars(least: number): Generator<Target> {
    for (let index = 0; index < this.candidates.length; index++)
      if (this.candidates[index].significance >= least && !this.blended(index)) yield this.target(index);
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
      const apart = Math.sqrt((near.xPx - xPx) ** 2 + (near.yPx - yPx) ** 2);
      const reach = this.sizePx * (2 + 0.4 * Math.log(Math.max(near.significance / 5, 1))) + 1;
      // Never mask past the middle between the two, weighted by their brightness.
      const share = 1 / (1 + Math.sqrt(significance / near.significance));
      const radius = Math.min(reach, apart * Math.max(0.25, Math.min(0.75, share)));
      return [near.xPx - cx, near.yPx - cy, radius * radius] as [number, number, number];
    });
    const sigma = meshAt(this.mesh, this.mesh.sigmas, this.plane, xPx, yPx);
    return {
      xPx,
      yPx,
      level: meshAt(this.mesh, this.mesh.levels, this.plane, xPx, yPx),
      sigma,
      neighbours,
      roughness: meshAt(this.mesh, this.mesh.roughness, this.plane, xPx, yPx),
      // A Gaussian's matched filter: significance = flux / (sqrt(4 pi) s sigma), height = flux / (2 pi s²).
      heightGuess: (significance * sigma) / (Math.sqrt(Math.PI) * this.sizePx),
    };
  }

  /** Its light overlaps: a neighbour with a tenth of the light within 4 widths, or a brighter one within 6. */
  blended(index: number): boolean {
    const own = this.candidates[index];
    if (own.double) return true;
    return this.index.around(index, Math.min(6 * this.sizePx, 2 * this.radiusPx)).some((other) => {
      const near = this.candidates[other];
      const ratio = near.significance / own.significance;
      const apart = Math.sqrt((near.xPx - own.xPx) ** 2 + (near.yPx - own.yPx) ** 2) / this.sizePx;
      return (apart < 4 && ratio > 0.1) || (apart < 6 && ratio > 1.5);
    });
  }

  nearBorder({ xPx, yPx, fwhmPx, hfdPx }: MeasuredStar): boolean {
    const margin = 1.5 * (Number.isNaN(fwhmPx) ? hfdPx : fwhmPx);
    const { widthPx, heightPx } = this.plane;
    return xPx < margin || yPx < margin || xPx > widthPx - 1 - margin || yPx > heightPx - 1 - margin;
  }
}
