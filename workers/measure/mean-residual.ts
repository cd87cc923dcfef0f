/** Nodes of the fine grid per pixel. */
export const STEPS_PER_PX = 5;

/** Residuals laid over each other on a fine grid about the stars' centres. */
export class MeanResidual {
  readonly side: number;
  private readonly middle: number;
  private readonly sum: Float64Array;
  private readonly weight: Float64Array;

  constructor(
    private readonly reachPx: number,
    private readonly discPx: number,
  ) {
    this.middle = Math.ceil(reachPx * STEPS_PER_PX);
    this.side = 2 * this.middle + 1;
    this.sum = new Float64Array(this.side ** 2);
    this.weight = new Float64Array(this.side ** 2);
  }

  /** One pixel at (dx, dy) from its star's centre, spread over a disc with a parabolic weight. */
  add(dx: number, dy: number, value: number, weight: number): void {
    if (Math.abs(dx) > this.reachPx + 1 || Math.abs(dy) > this.reachPx + 1) return;
    const x = dx * STEPS_PER_PX + this.middle;
    const y = dy * STEPS_PER_PX + this.middle;
    const disc = this.discPx * STEPS_PER_PX;
    for (let row = Math.max(0, Math.ceil(y - disc)); row <= Math.min(this.side - 1, y + disc); row++)
      for (let col = Math.max(0, Math.ceil(x - disc)); col <= Math.min(this.side - 1, x + disc); col++) {
        const share = 1 - ((row - y) ** 2 + (col - x) ** 2) / disc ** 2;
        if (share <= 0) continue;
        this.sum[row * this.side + col] += share * weight * value;
        this.weight[row * this.side + col] += share * weight;
      }
  }

  /** Mean residual at (dx, dy) from the centre, by the nearest node; 0 where nothing was laid down. */
  at(dx: number, dy: number): number {
    const col = Math.round(dx * STEPS_PER_PX) + this.middle;
    const row = Math.round(dy * STEPS_PER_PX) + this.middle;
    if (col < 0 || row < 0 || col >= this.side || row >= this.side) return 0;
    const i = row * this.side + col;
    return this.weight[i] > 0 ? this.sum[i] / this.weight[i] : 0;
  }

  /** The profile and the mean residual on the grid, row by row. */
  values(profile: (dx: number, dy: number) => number): Float64Array {
    return Float64Array.from({ length: this.side ** 2 }, (_, i) => {
      const col = i % this.side;
      const dx = (col - this.middle) / STEPS_PER_PX;
      const dy = ((i - col) / this.side - this.middle) / STEPS_PER_PX;
      return profile(dx, dy) + (this.weight[i] > 0 ? this.sum[i] / this.weight[i] : 0);
    });
  }
}
