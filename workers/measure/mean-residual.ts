/** Nodes of the fine grid per pixel. */
export const STEPS_PER_PX = 5;

/** A pixel from its star's centre, its residual in units of the star's flux, the variance of that, and its weight. */
export interface ResidualPixel {
  dx: number;
  dy: number;
  value: number;
  variance: number;
  weight: number;
}

/**
 * Noise of a twice smoothed picture over that of a once smoothed one, as variances: the kernel is 2K - K*K, whose square
 * has 1.83 times the integral of K's (Gaussians: 4/4 - 4/6 + 1/8 against 1/4).
 */
const TWICING_NOISE = 1.83;

/**
 * Residuals laid over each other on a fine grid about the stars' centres. Each pixel is spread over a disc, which
 * smooths the picture; `sharpen` gives back most of what that takes away.
 */
export class MeanResidual {
  readonly side: number;
  private readonly pixels: ResidualPixel[] = [];
  private readonly middle: number;
  private readonly sum: Float64Array;
  private readonly weight: Float64Array;
  private readonly noise: Float64Array;
  private correction: Float64Array | null = null;

  constructor(
    private readonly reachPx: number,
    private readonly discPx: number,
  ) {
    this.middle = Math.ceil(reachPx * STEPS_PER_PX);
    this.side = 2 * this.middle + 1;
    this.sum = new Float64Array(this.side ** 2);
    this.weight = new Float64Array(this.side ** 2);
    this.noise = new Float64Array(this.side ** 2);
  }

  add(pixel: ResidualPixel): void {
    const { dx, dy, value, variance } = pixel;
    if (Math.abs(dx) > this.reachPx + 1 || Math.abs(dy) > this.reachPx + 1) return;
    this.pixels.push(pixel);
    this.spread(pixel, value, (i, share) => {
      this.sum[i] += share * value;
      this.weight[i] += share;
      this.noise[i] += share ** 2 * variance;
    });
  }

  /** Variance of the sharpened mean residual at the node nearest to (dx, dy). */
  varianceAt(dx: number, dy: number): number {
    const i =
      Math.round(dy * STEPS_PER_PX + this.middle) * this.side + Math.round(dx * STEPS_PER_PX + this.middle);
    return this.weight[i] > 0 ? (TWICING_NOISE * this.noise[i]) / this.weight[i] ** 2 : Infinity;
  }

  /**
   * Lays down what the smoothed picture leaves of each pixel, smoothed once more (Tukey's twicing): the error of
   * smoothing then falls with the fourth power of the disc instead of the second.
   */
  sharpen(): void {
    const rest = new Float64Array(this.side ** 2);
    for (const pixel of this.pixels) {
      const left = pixel.value - this.at(pixel.dx, pixel.dy);
      this.spread(pixel, left, (i, share) => (rest[i] += share * left));
    }
    this.correction = rest.map((sum, i) => (this.weight[i] > 0 ? sum / this.weight[i] : 0));
  }

  /** Nodes of a pixel's disc and the pixel's share there, parabolic in the distance. */
  private spread(
    { dx, dy, weight }: ResidualPixel,
    value: number,
    lay: (node: number, share: number) => void,
  ): void {
    if (!Number.isFinite(value)) return;
    const x = dx * STEPS_PER_PX + this.middle;
    const y = dy * STEPS_PER_PX + this.middle;
    const disc = this.discPx * STEPS_PER_PX;
    for (let row = Math.max(0, Math.ceil(y - disc)); row <= Math.min(this.side - 1, y + disc); row++)
      for (let col = Math.max(0, Math.ceil(x - disc)); col <= Math.min(this.side - 1, x + disc); col++) {
        const share = 1 - ((row - y) ** 2 + (col - x) ** 2) / disc ** 2;
        if (share > 0) lay(row * this.side + col, share * weight);
      }
  }

  /** Mean residual at (dx, dy) from the centre, linear between the nodes; 0 outside. */
  at(dx: number, dy: number): number {
    const x = dx * STEPS_PER_PX + this.middle;
    const y = dy * STEPS_PER_PX + this.middle;
    const col = Math.floor(x);
    const row = Math.floor(y);
    if (col < 0 || row < 0 || col + 1 >= this.side || row + 1 >= this.side) return 0;
    const [u, v] = [x - col, y - row];
    const i = row * this.side + col;
    const upper = (1 - u) * this.node(i) + u * this.node(i + 1);
    return (1 - v) * upper + v * ((1 - u) * this.node(i + this.side) + u * this.node(i + this.side + 1));
  }

  private node(i: number): number {
    const mean = this.weight[i] > 0 ? this.sum[i] / this.weight[i] : 0;
    return mean + (this.correction?.[i] ?? 0);
  }

  /** The profile and the mean residual on the grid, row by row. */
  values(profile: (dx: number, dy: number) => number): Float64Array {
    return Float64Array.from({ length: this.side ** 2 }, (_, i) => {
      const col = i % this.side;
      const dx = (col - this.middle) / STEPS_PER_PX;
      const dy = ((i - col) / this.side - this.middle) / STEPS_PER_PX;
      return profile(dx, dy) + this.node(i);
    });
  }
}
