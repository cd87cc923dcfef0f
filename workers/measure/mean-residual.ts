import type { Kernels } from '../wasm/kernels.ts';
import { setProfile, subtractProfile, type PixelNoise, type Profile } from './profile.ts';
import type { Workspace } from './workspace.ts';

/** Nodes of the grid per pixel. */
const USUAL_STEPS = 5;
/** Arrays of a list that subtractProfile touches, see kernels/stamp.ts. */
const LIST_ARRAYS = 5;
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
 * the error of smoothing falls with the fourth power of the disc instead of the second. The stars' memory must stay while
 * `varianceAt` is asked.
 */
export class MeanResidual {
  readonly side: number;
  readonly stepPx: number;
  private readonly middle: number;
  private readonly mean: Float64Array;
  private readonly weight: Float64Array;

  constructor(
    private readonly kernels: Kernels,
    private readonly stars: StarResiduals[],
    reachPx: number,
    private readonly discPx: number,
    private readonly steps = USUAL_STEPS,
  ) {
    this.stepPx = 1 / steps;
    const { run, arena } = kernels;
    this.middle = Math.ceil(reachPx * steps);
    this.side = 2 * this.middle + 1;
    const nodes = this.side ** 2;
    const mark = arena.mark();
    const [sum, weight, mean, rest] = [0, 1, 2, 3].map(() => arena.alloc(nodes * 8));
    for (const address of [sum, weight, rest]) arena.f64(address, nodes).fill(0);
    for (const { address, count } of stars)
      run.layResiduals(address, count, this.middle, steps, discPx, sum, weight);
    const [sums, rests] = [sum, rest].map((at) => arena.f64(at, nodes));
    const first = arena.f64(mean, nodes);
    this.weight = arena.f64(weight, nodes).slice();
    for (let i = 0; i < nodes; i++) first[i] = this.weight[i] > 0 ? sums[i] / this.weight[i] : 0;
    for (const { address, count } of stars)
      run.layRest(address, count, this.middle, steps, discPx, mean, rest);
    this.mean = first.slice();
    for (let i = 0; i < nodes; i++) if (this.weight[i] > 0) this.mean[i] += rests[i] / this.weight[i];
    arena.reset(mark);
  }

  /** Variance of the mean residual at the node nearest to (dx, dy). */
  varianceAt(dx: number, dy: number): number {
    const [col, row] = [dx, dy].map((d) => Math.round(d * this.steps));
    const weight = this.weight[(row + this.middle) * this.side + col + this.middle];
    if (!(weight > 0)) return Infinity;
    const [x, y] = [col / this.steps, row / this.steps];
    const noise = this.stars.reduce(
      (sum, { address, count }) => sum + this.kernels.run.residualNoise(address, count, x, y, this.discPx),
      0,
    );
    return (TWICING_NOISE * noise) / weight ** 2;
  }

  /** Mean residual at (dx, dy) from the centre, linear between the nodes; 0 outside. */
  at(dx: number, dy: number): number {
    const x = dx * this.steps + this.middle;
    const y = dy * this.steps + this.middle;
    const col = Math.floor(x);
    const row = Math.floor(y);
    if (col < 0 || row < 0 || col + 1 >= this.side || row + 1 >= this.side) return 0;
    const [u, v] = [x - col, y - row];
    const i = row * this.side + col;
    const upper = (1 - u) * this.mean[i] + u * this.mean[i + 1];
    return (1 - v) * upper + v * ((1 - u) * this.mean[i + this.side] + u * this.mean[i + this.side + 1]);
  }

  /** A function of the place about the centre that is the same on opposite sides of it, row by row. */
  valuesOf(valueAt: (dx: number, dy: number) => number): Float64Array {
    const { side, middle, stepPx } = this;
    const values = new Float64Array(side ** 2);
    for (let i = 0, row = 0; row <= middle; row++)
      for (let col = 0; col < side; col++, i++) {
        const value = valueAt((col - middle) * stepPx, (row - middle) * stepPx);
        values[i] = value;
        values[values.length - 1 - i] = value;
      }
    return values;
  }

  /** A profile about the grid's centre as pixels there would hold it, row by row; with the mean residual or without. */
  pictureOf(space: Workspace, profile: Profile, residual: boolean): Float32Array {
    const { arena, run } = this.kernels;
    const { side, middle } = this;
    const nodes = side ** 2;
    const capacity = (nodes + 3) & ~3;
    const mark = arena.mark();
    const list = arena.alloc(capacity * 4 * LIST_ARRAYS);
    const [x, y, value, , rest] = Array.from({ length: LIST_ARRAYS }, (_, i) =>
      arena.f32(list + i * capacity * 4, capacity),
    );
    for (let row = 0, i = 0; row < side; row++)
      for (let col = 0; col < side; col++, i++) {
        x[i] = (col - middle) / this.steps;
        y[i] = (row - middle) / this.steps;
        value[i] = residual ? -this.mean[i] : 0;
      }
    setProfile(space.view.params, profile.amplitude, 0, 0, 0, profile.a, profile.b, profile.c, profile);
    space.subtracted = null;
    run.subtractProfile(list, capacity, capacity, space.nodes, space.nodeCount, profile.k, space.params);
    const picture = rest.slice(0, nodes);
    for (let i = 0; i < nodes; i++) picture[i] = -picture[i];
    arena.reset(mark);
    return picture;
  }
}
