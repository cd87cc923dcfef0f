/** Places of stars from the sensor's centre, px, brightest first; columns of equal length. */
export interface StarPlaces {
  x: Float64Array;
  y: Float64Array;
  /** Variance of a coordinate, px². */
  variance: Float64Array;
}

/** Cells across the longer side: a search looks at nine cells, so they may not be smaller than the search radius. */
const CELLS = 128;

/** Finds the star nearest to a place within a radius. */
export class NearestStar {
  private readonly left: number;
  private readonly top: number;
  private readonly cellPx: number;
  private readonly cols: number;
  private readonly rows: number;
  /** First star of each cell and the next one after each star; -1 = none. */
  private readonly first: Int32Array;
  private readonly next: Int32Array;
  readonly areaPx2: number;

  constructor(
    readonly stars: StarPlaces,
    private readonly radiusPx: number,
  ) {
    const { x, y } = stars;
    let [left, right, top, bottom] = [Infinity, -Infinity, Infinity, -Infinity];
    for (let i = 0; i < x.length; i++) {
      left = Math.min(left, x[i]);
      right = Math.max(right, x[i]);
      top = Math.min(top, y[i]);
      bottom = Math.max(bottom, y[i]);
    }
    if (x.length === 0) [left, right, top, bottom] = [0, 0, 0, 0];
    this.left = left;
    this.top = top;
    this.cellPx = Math.max(radiusPx, Math.max(right - left, bottom - top) / CELLS);
    this.cols = Math.floor((right - left) / this.cellPx) + 1;
    this.rows = Math.floor((bottom - top) / this.cellPx) + 1;
    this.areaPx2 = Math.max((right - left) * (bottom - top), Math.PI * radiusPx ** 2);
    this.first = new Int32Array(this.cols * this.rows).fill(-1);
    this.next = new Int32Array(x.length).fill(-1);
    for (let i = x.length - 1; i >= 0; i--) {
      const cell = this.col(x[i]) + this.cols * this.row(y[i]);
      this.next[i] = this.first[cell];
      this.first[cell] = i;
    }
  }

  private col(x: number): number {
    return Math.floor((x - this.left) / this.cellPx);
  }

  private row(y: number): number {
    return Math.floor((y - this.top) / this.cellPx);
  }

  /** Index of the nearest star within `withinPx` (at most the radius this was made for), or -1. */
  at(x: number, y: number, withinPx = this.radiusPx): number {
    const { stars, cols, rows } = this;
    const [col, row] = [this.col(x), this.row(y)];
    let best = -1;
    let bestSquare = withinPx * withinPx;
    for (let r = Math.max(0, row - 1); r <= Math.min(rows - 1, row + 1); r++)
      for (let c = Math.max(0, col - 1); c <= Math.min(cols - 1, col + 1); c++)
        for (let i = this.first[c + cols * r]; i >= 0; i = this.next[i]) {
          const square = (stars.x[i] - x) ** 2 + (stars.y[i] - y) ** 2;
          if (square > bestSquare) continue;
          bestSquare = square;
          best = i;
        }
    return best;
  }
}

/** Pairs of stars that are each other's nearest under a mapping of `from`; flat list of index pairs. */
export function mutualPairs(
  from: StarPlaces,
  mapped: { x: Float64Array; y: Float64Array },
  to: NearestStar,
  withinPx: number,
): [number, number][] {
  const owner = new Map<number, number>();
  const distance = (i: number, j: number) =>
    (mapped.x[i] - to.stars.x[j]) ** 2 + (mapped.y[i] - to.stars.y[j]) ** 2;
  for (let i = 0; i < from.x.length; i++) {
    const j = to.at(mapped.x[i], mapped.y[i], withinPx);
    if (j < 0) continue;
    const other = owner.get(j);
    if (other === undefined || distance(i, j) < distance(other, j)) owner.set(j, i);
  }
  return [...owner].map(([j, i]) => [i, j]);
}
