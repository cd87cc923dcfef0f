import { PointGrid, rangeOf } from './point-grid.ts';
import type { MeasuredStar } from './star.ts';

/** A star is compared with so many of its nearest, because the width may double from centre to corner. */
export const JURY = 12;

/** Finds the nearest jurors of a star without asking all of them: a square cell holds about a jury. */
export class Bench {
  /** Indices into the jurors, nearest first; good until the next call of `nearest`. */
  readonly jury = new Int32Array(JURY);
  private readonly distance = new Float64Array(JURY);
  private readonly grid: PointGrid;
  /** Places of the jurors in the grid's order, so that those of a cell lie together. */
  private readonly xPx: Float64Array;
  private readonly yPx: Float64Array;

  constructor(private readonly jurors: MeasuredStar[]) {
    const xPx = Float64Array.from(jurors, (star) => star.xPx);
    const yPx = Float64Array.from(jurors, (star) => star.yPx);
    const [x, y] = [rangeOf(xPx), rangeOf(yPx)];
    const area = (x.most - x.least) * (y.most - y.least);
    const cellPx = Math.max(1, Math.sqrt((area * JURY) / Math.max(jurors.length, 1)) || 1);
    this.grid = new PointGrid(xPx, yPx, cellPx);
    this.xPx = Float64Array.from(this.grid.order, (juror) => xPx[juror]);
    this.yPx = Float64Array.from(this.grid.order, (juror) => yPx[juror]);
  }

  /** Fills `jury` with the jurors nearest to a star, itself left out; returns how many there are. */
  nearest(star: MeasuredStar): number {
    let asked = 0;
    let count = 0;
    this.grid.around(star.xPx, star.yPx, (from, to) => {
      asked += to - from;
      count = this.closest(star, from, to, count);
    });
    // In an empty neighbourhood all are asked.
    return asked > 2 * JURY ? count : this.closest(star, 0, this.jurors.length, 0);
  }

  private closest(star: MeasuredStar, from: number, to: number, count: number): number {
    const { jury, distance, xPx, yPx } = this;
    const { order } = this.grid;
    const { xPx: x, yPx: y } = star;
    let furthest = count === JURY ? distance[JURY - 1] : Infinity;
    for (let n = from; n < to; n++) {
      const dx = xPx[n] - x;
      const dy = yPx[n] - y;
      const far = dx * dx + dy * dy;
      if (far >= furthest || (far === 0 && this.jurors[order[n]] === star)) continue;
      let place = count < JURY ? count++ : JURY - 1;
      for (; place > 0 && distance[place - 1] > far; place--) {
        distance[place] = distance[place - 1];
        jury[place] = jury[place - 1];
      }
      distance[place] = far;
      jury[place] = order[n];
      if (count === JURY) furthest = distance[JURY - 1];
    }
    return count;
  }
}
