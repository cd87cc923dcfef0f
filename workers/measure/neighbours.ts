/** Which points lie near which, by square cells. */
export class NeighbourIndex {
  private readonly cells = new Map<number, number[]>();
  private readonly stride: number;

  constructor(
    private readonly xPx: ArrayLike<number>,
    private readonly yPx: ArrayLike<number>,
    private readonly cellPx: number,
    widthPx: number,
  ) {
    this.stride = Math.ceil(widthPx / cellPx) + 3;
    for (let i = 0; i < xPx.length; i++) {
      const key = this.key(Math.floor(xPx[i] / cellPx), Math.floor(yPx[i] / cellPx));
      const cell = this.cells.get(key);
      if (cell) cell.push(i);
      else this.cells.set(key, [i]);
    }
  }

  /** Indices of the points within `radiusPx` (at most the cell's size) of point `index`, itself left out. */
  around(index: number, radiusPx: number): number[] {
    const col = Math.floor(this.xPx[index] / this.cellPx);
    const row = Math.floor(this.yPx[index] / this.cellPx);
    const found: number[] = [];
    for (let j = row - 1; j <= row + 1; j++)
      for (let i = col - 1; i <= col + 1; i++)
        for (const other of this.cells.get(this.key(i, j)) ?? []) {
          const distance = Math.hypot(this.xPx[other] - this.xPx[index], this.yPx[other] - this.yPx[index]);
          if (other !== index && distance < radiusPx) found.push(other);
        }
    return found;
  }

  private key = (col: number, row: number) => (row + 1) * this.stride + col + 1;
}
