import type { Kernels } from '../wasm/kernels.ts';
import { subtractProfile, type PixelNoise, type Profile } from './profile.ts';
import type { Workspace } from './workspace.ts';

/** Nodes of the fine grid per pixel. */
export const STEPS_PER_PX = 5;
/** Layout of a record, see kernels/mean-residual.ts. */
const RECORD_BYTES = 20;

/** What one star's pixels differ from its profile by, in units of its flux, in the kernels' memory. */
export interface StarResiduals {
  profile: Profile;
  address: number;
  count: number;
}

/**
 * Packs the pixels that are gathered in `space`, within `keptPx` of the profile's centre, into memory of their own (to
 * stay until the arena is reset).
 */
export function packResiduals(
  space: Workspace,
  count: number,
  profile: Profile,
  flux: number,
  noise: PixelNoise,
  weight: number,
  keptPx: number,
): StarResiduals {
  const { run, arena } = space.kernels;
  const side = 2 * Math.ceil(keptPx) + 1;
  const address = arena.alloc(Math.min(count, side * side) * RECORD_BYTES);
  subtractProfile(space, count, profile);
  const packed = run.packResiduals(
    space.list,
    space.capacity,
    count,
    space.params,
    keptPx,
    flux,
    noise.skyVariance,
    noise.unitsPerElectron,
    weight,
    address,
  );
  return { profile, address, count: packed };
}

/**
 * Noise of a twice smoothed picture over that of a once smoothed one, as variances: the kernel is 2K - K*K, whose square
 * has 1.83 times the integral of K's (Gaussians: 4/4 - 4/6 + 1/8 against 1/4).
 */
const TWICING_NOISE = 1.83;

/**
 * Mean residual of stars on a fine grid about their centres: each pixel is spread over a disc, which smooths the
 * picture, and then what the smoothed picture leaves of each pixel is laid down, smoothed once more (Tukey's twicing):
 * the error of smoothing falls with the fourth power of the disc instead of the second.
 */
export class MeanResidual {
  readonly side: number;
  private readonly middle: number;
  private readonly mean: Float64Array;
  private readonly variance: Float64Array;

  constructor({ run, arena }: Kernels, stars: StarResiduals[], reachPx: number, discPx: number) {
    this.middle = Math.ceil(reachPx * STEPS_PER_PX);
    this.side = 2 * this.middle + 1;
    const nodes = this.side ** 2;
    const mark = arena.mark();
    const [sum, weight, noise, rest] = [0, 1, 2, 3].map(() => arena.alloc(nodes * 8));
    for (const address of [sum, weight, noise, rest]) arena.f64(address, nodes).fill(0);
    for (const { address, count } of stars)
      run.layResiduals(address, count, this.middle, STEPS_PER_PX, discPx, sum, weight, noise);
    for (const { address, count } of stars)
      run.layRest(address, count, this.middle, STEPS_PER_PX, discPx, sum, weight, rest);
    const [sums, weights, noises, rests] = [sum, weight, noise, rest].map((at) => arena.f64(at, nodes));
    this.mean = weights.map((total, i) => (total > 0 ? (sums[i] + rests[i]) / total : 0));
    this.variance = weights.map((total, i) =>
      total > 0 ? (TWICING_NOISE * noises[i]) / total ** 2 : Infinity,
    );
    arena.reset(mark);
  }

  /** Variance of the mean residual at the node nearest to (dx, dy). */
  varianceAt(dx: number, dy: number): number {
    return this.variance[
      Math.round(dy * STEPS_PER_PX + this.middle) * this.side + Math.round(dx * STEPS_PER_PX + this.middle)
    ];
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
    const upper = (1 - u) * this.mean[i] + u * this.mean[i + 1];
    return (1 - v) * upper + v * ((1 - u) * this.mean[i + this.side] + u * this.mean[i + this.side + 1]);
  }

  /** The profile and the mean residual on the grid, row by row. */
  values(profile: (dx: number, dy: number) => number): Float64Array {
    const { side, middle } = this;
    const values = new Float64Array(side ** 2);
    for (let row = 0, i = 0; row < side; row++)
      for (let col = 0; col < side; col++, i++)
        values[i] = profile((col - middle) / STEPS_PER_PX, (row - middle) / STEPS_PER_PX) + this.mean[i];
    return values;
  }
}
