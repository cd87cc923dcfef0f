/** Points sorted into square cells, so that those about a place are found without asking all. */
export class PointGrid {
  /** Indices of the points, cell by cell, row by row. */
  readonly order: Int32Array;
  private readonly starts: Int32Array;
  private readonly cols: number;
  private readonly rows: number;
  private readonly x0: number;
  private readonly y0: number;

  constructor(
    xPx: ArrayLike<number>,
    yPx: ArrayLike<number>,
    private readonly cellPx: number,
  ) {
    const count = xPx.length;
    const x = rangeOf(xPx);
    const y = rangeOf(yPx);
    this.x0 = x.least;
    this.y0 = y.least;
    this.cols = count === 0 ? 0 : Math.floor((x.most - x.least) / cellPx) + 1;
    this.rows = count === 0 ? 0 : Math.floor((y.most - y.least) / cellPx) + 1;
    // A counting sort.
    const cellOf = new Int32Array(count);
    this.starts = new Int32Array(this.cols * this.rows + 1);
    for (let i = 0; i < count; i++) {
      cellOf[i] = this.rowOf(yPx[i]) * this.cols + this.colOf(xPx[i]);
      this.starts[cellOf[i] + 1]++;
    }
    for (let cell = 0; cell < this.cols * this.rows; cell++) this.starts[cell + 1] += this.starts[cell];
    const next = this.starts.slice();
    this.order = new Int32Array(count);
    for (let i = 0; i < count; i++) this.order[next[cellOf[i]]++] = i;
  }

  /** Visits the stretches [from, to) of `order` that hold the points of the 3 x 3 cells about a place. */
  around(xPx: number, yPx: number, visit: (from: number, to: number) => void): void {
    const row = this.rowOf(yPx);
    const first = Math.max(0, this.colOf(xPx) - 1);
    const last = Math.min(this.cols - 1, this.colOf(xPx) + 1);
    if (first > last) return;
    for (let j = Math.max(0, row - 1); j <= Math.min(this.rows - 1, row + 1); j++)
      visit(this.starts[j * this.cols + first], this.starts[j * this.cols + last + 1]);
  }

  private colOf = (xPx: number) => Math.floor((xPx - this.x0) / this.cellPx);
  private rowOf = (yPx: number) => Math.floor((yPx - this.y0) / this.cellPx);
}

/** Least and most of some numbers. */
export function rangeOf(values: ArrayLike<number>): { least: number; most: number } {
  let least = Infinity;
  let most = -Infinity;
  for (let i = 0; i < values.length; i++) {
    if (values[i] < least) least = values[i];
    if (values[i] > most) most = values[i];
  }
  return { least, most };
}
