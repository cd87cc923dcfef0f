import type { MeasuredStar } from './star.ts';

/** A star is compared with so many of its nearest, because the width may double from centre to corner. */
export const JURY = 12;

/** Finds the nearest jurors of a star without asking all of them: a square cell holds about a jury. */
export class Bench {
  /** Indices into the jurors, nearest first; good until the next call of `nearest`. */
  readonly jury = new Int32Array(JURY);
  private readonly distance = new Float64Array(JURY);
  private readonly cellPx: number;
  private readonly x0: number;
  private readonly y0: number;
  private readonly cols: number;
  private readonly rows: number;
  /** Jurors sorted by cell, and where each cell begins. */
  private readonly order: Int32Array;
  private readonly starts: Int32Array;
  private readonly xPx: Float64Array;
  private readonly yPx: Float64Array;

  constructor(readonly jurors: MeasuredStar[]) {
    const count = jurors.length;
    this.xPx = Float64Array.from(jurors, (star) => star.xPx);
    this.yPx = Float64Array.from(jurors, (star) => star.yPx);
    this.x0 = this.xPx.reduce((a, b) => Math.min(a, b), Infinity);
    this.y0 = this.yPx.reduce((a, b) => Math.min(a, b), Infinity);
    const spanX = this.xPx.reduce((a, b) => Math.max(a, b), -Infinity) - this.x0;
    const spanY = this.yPx.reduce((a, b) => Math.max(a, b), -Infinity) - this.y0;
    this.cellPx = Math.max(1, Math.sqrt((spanX * spanY * JURY) / Math.max(count, 1)) || 1);
    this.cols = count === 0 ? 1 : Math.floor(spanX / this.cellPx) + 1;
    this.rows = count === 0 ? 1 : Math.floor(spanY / this.cellPx) + 1;
    // A counting sort.
    const cells = Int32Array.from(jurors, (_, i) => this.cellAt(this.xPx[i], this.yPx[i]));
    this.starts = new Int32Array(this.cols * this.rows + 1);
    for (const cell of cells) this.starts[cell + 1]++;
    for (let cell = 0; cell < this.cols * this.rows; cell++) this.starts[cell + 1] += this.starts[cell];
    const next = this.starts.slice();
    this.order = new Int32Array(count);
    cells.forEach((cell, i) => (this.order[next[cell]++] = i));
  }

  /** Fills `jury` with the jurors nearest to a star, itself left out; returns how many there are. */
  nearest(star: MeasuredStar): number {
    const col = Math.floor((star.xPx - this.x0) / this.cellPx);
    const row = Math.floor((star.yPx - this.y0) / this.cellPx);
    let close = 0;
    for (let j = Math.max(0, row - 1); j <= Math.min(this.rows - 1, row + 1); j++) {
      const [from, to] = this.range(j, col);
      close += Math.max(0, to - from);
    }
    let count = 0;
    // In an empty neighbourhood all are asked.
    if (close <= 2 * JURY) return this.closest(star, 0, this.order.length, 0);
    for (let j = Math.max(0, row - 1); j <= Math.min(this.rows - 1, row + 1); j++) {
      const [from, to] = this.range(j, col);
      count = this.closest(star, from, to, count);
    }
    return count;
  }

  /** The jurors in the three cells of a row about `col`: a stretch of `order`. */
  private range(row: number, col: number): [from: number, to: number] {
    const first = Math.max(0, col - 1);
    const last = Math.min(this.cols - 1, col + 1);
    if (first > last) return [0, 0];
    return [this.starts[row * this.cols + first], this.starts[row * this.cols + last + 1]];
  }

  private closest(star: MeasuredStar, from: number, to: number, count: number): number {
    const { jury, distance, order, xPx, yPx } = this;
    for (let n = from; n < to; n++) {
      const juror = order[n];
      if (this.jurors[juror] === star) continue;
      const far = (xPx[juror] - star.xPx) ** 2 + (yPx[juror] - star.yPx) ** 2;
      if (count === JURY && far >= distance[JURY - 1]) continue;
      let place = count < JURY ? count++ : JURY - 1;
      for (; place > 0 && distance[place - 1] > far; place--) {
        distance[place] = distance[place - 1];
        jury[place] = jury[place - 1];
      }
      distance[place] = far;
      jury[place] = juror;
    }
    return count;
  }

  private cellAt(xPx: number, yPx: number): number {
    const col = Math.floor((xPx - this.x0) / this.cellPx);
    const row = Math.floor((yPx - this.y0) / this.cellPx);
    return row * this.cols + col;
  }
}
