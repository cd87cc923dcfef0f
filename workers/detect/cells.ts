/**
 * Numbered things in square cells, filed one by one and found again by place; in a cell the one filed first comes first.
 * Cells share a table of a few slots a thing, so that memory goes with the things and not with the frame.
 */
export class Cells {
  private readonly mask: number;
  /** First and last of each slot, who follows whom, and whose cell each thing lies in; -1 for none. */
  private readonly heads: Int32Array;
  private readonly tails: Int32Array;
  private readonly next: Int32Array;
  private readonly cellOf: Float64Array;

  constructor(
    mostThings: number,
    private readonly sizePx: number,
  ) {
    const slots = 2 ** Math.ceil(Math.log2(2 * mostThings + 2));
    this.mask = slots - 1;
    this.heads = new Int32Array(slots).fill(-1);
    this.tails = new Int32Array(slots).fill(-1);
    this.next = new Int32Array(mostThings).fill(-1);
    this.cellOf = new Float64Array(mostThings);
  }

  add(thing: number, xPx: number, yPx: number): void {
    const [col, row] = [Math.floor(xPx / this.sizePx), Math.floor(yPx / this.sizePx)];
    const slot = this.slotOf(col, row);
    this.cellOf[thing] = nameOf(col, row);
    if (this.heads[slot] < 0) this.heads[slot] = thing;
    else this.next[this.tails[slot]] = thing;
    this.tails[slot] = thing;
  }

  /** The first that suits in the cell of a place and the eight about it, row by row; -1 for none. */
  first(xPx: number, yPx: number, suits: (thing: number) => boolean): number {
    const [col, row] = [Math.floor(xPx / this.sizePx), Math.floor(yPx / this.sizePx)];
    for (let j = row - 1; j <= row + 1; j++)
      for (let i = col - 1; i <= col + 1; i++)
        for (let thing = this.heads[this.slotOf(i, j)]; thing >= 0; thing = this.next[thing])
          if (this.cellOf[thing] === nameOf(i, j) && suits(thing)) return thing;
    return -1;
  }

  /** Neighbouring cells fall into different slots, distant ones anywhere. */
  private slotOf(col: number, row: number): number {
    return (col + Math.imul(row, 40_503)) & this.mask;
  }
}

/** Frames are at most 65535 px wide. */
const nameOf = (col: number, row: number) => row * 65536 + col;
