import { PointGrid, rangeOf } from './point-grid.ts';

/** Which points lie near which. */
export class NeighbourIndex {
  private readonly grid: PointGrid;

  /** `cellPx`: the largest radius that will be asked for. */
  constructor(
    private readonly xPx: ArrayLike<number>,
    private readonly yPx: ArrayLike<number>,
    cellPx: number,
  ) {
    // No more cells than points.
    const [x, y] = [rangeOf(xPx), rangeOf(yPx)];
    const area = xPx.length > 0 ? (x.most - x.least) * (y.most - y.least) : 0;
    this.grid = new PointGrid(xPx, yPx, Math.max(cellPx, Math.sqrt(area / Math.max(xPx.length, 1))));
  }

  /** Indices of the points within `radiusPx` (at most the cell's size) of point `index`, itself left out. */
  around(index: number, radiusPx: number): number[] {
    const { xPx, yPx } = this;
    const { order } = this.grid;
    const found: number[] = [];
    this.grid.around(xPx[index], yPx[index], (from, to) => {
      for (let n = from; n < to; n++) {
        const other = order[n];
        const far = (xPx[other] - xPx[index]) ** 2 + (yPx[other] - yPx[index]) ** 2;
        if (other !== index && far < radiusPx * radiusPx) found.push(other);
      }
    });
    return found;
  }
}
