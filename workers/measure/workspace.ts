import type { Kernels } from '../wasm/kernels.ts';
import { siteShare, type Plane } from '../wasm/plane.ts';

/** Arrays of a pixel list, see kernels/stamp.ts: x, y, value, weight, residual. */
const LIST_ARRAYS = 5;
const PARAMETERS = 7;
export const MAX_RINGS = 128;
const MAX_NEIGHBOURS = 64;
/** Gauss-Legendre rule of three points on a pixel's side: exact to the fifth order. */
const LEGENDRE = [
  [-Math.sqrt(0.6) / 2, 5 / 18],
  [0, 8 / 18],
  [Math.sqrt(0.6) / 2, 5 / 18],
];

/** The pixels of one star, gathered: what the kernel counted on the way. */
export interface Gathered {
  count: number;
  saturated: number;
  outside: number;
  masked: number;
  peak: number;
}

/** Memory for measuring one star at a time, allocated once per frame. */
export class Workspace {
  readonly capacity: number;
  readonly list: number;
  readonly params: number;
  readonly covariance: number;
  readonly fit: number;
  readonly work: number;
  readonly state: number;
  readonly rings: number;
  readonly moments: number;
  readonly nodes: number;
  /** The quadrature in use: offset x, y and weight. */
  rule: number[][] = [];
  private readonly stats: number;
  private readonly neighbours: number;

  constructor(
    readonly kernels: Kernels,
    readonly plane: Plane,
    readonly maxRadiusPx: number,
  ) {
    const { arena } = kernels;
    const side = 2 * Math.ceil(maxRadiusPx) + 1;
    this.capacity = (side * side + 8) & ~3;
    this.list = arena.alloc(this.capacity * 4 * LIST_ARRAYS);
    this.params = arena.alloc(PARAMETERS * 8);
    this.covariance = arena.alloc(PARAMETERS * PARAMETERS * 8);
    this.fit = arena.alloc(3 * 8);
    this.work = arena.alloc((2 * PARAMETERS + 3) * PARAMETERS * 8);
    this.state = arena.alloc(5 * 8);
    this.rings = arena.alloc(3 * MAX_RINGS * 8);
    this.moments = arena.alloc(6 * 8);
    this.stats = arena.alloc(4 * 8);
    this.neighbours = arena.alloc(MAX_NEIGHBOURS * 12);
    this.nodes = arena.alloc(LEGENDRE.length ** 2 * 12);
    this.integratePixels(false);
  }

  /**
   * Whether the profile is averaged over each pixel (and describes the star before the pixel) or taken at its middle
   * (and describes it as seen through the pixel). The first costs nine times as much and is needed for narrow stars.
   */
  integratePixels(yes: boolean): void {
    this.rule = yes ? LEGENDRE.flatMap(([x, u]) => LEGENDRE.map(([y, v]) => [x, y, u * v])) : [[0, 0, 1]];
    this.kernels.arena.f32(this.nodes, this.rule.length * 3).set(this.rule.flat());
  }

  get nodeCount(): number {
    return this.rule.length;
  }

  /** Share of the pixels that are measured: 1, or 0.5 for the greens of a mosaic. */
  get siteShare(): number {
    return siteShare(this.plane.sites);
  }

  /** Collects the pixels about (cx, cy), leaving out the discs (dx, dy, r²) of `neighbours`. */
  gather(
    cx: number,
    cy: number,
    radiusPx: number,
    level: number,
    sigma: number,
    neighbours: [number, number, number][],
  ): Gathered {
    const { run, arena } = this.kernels;
    const discs = neighbours.slice(0, MAX_NEIGHBOURS);
    arena.f32(this.neighbours, discs.length * 3).set(discs.flat());
    const gather = this.plane.kind === 'u16' ? run.gatherU16 : run.gatherF32;
    const count = gather(
      this.plane.address,
      this.plane.widthPx,
      this.plane.heightPx,
      cx,
      cy,
      radiusPx,
      level,
      sigma,
      this.plane.sites,
      this.plane.saturationStored,
      this.neighbours,
      discs.length,
      this.list,
      this.capacity,
      this.stats,
    );
    const [saturated, outside, masked, peak] = arena.f64(this.stats, 4);
    return { count, saturated, outside, masked, peak };
  }

  /** Value, residual (as left by measureGrowth) and place of every gathered pixel that counts. */
  eachPixel(count: number, visit: (value: number, residual: number, x: number, y: number) => void): void {
    const { arena } = this.kernels;
    const plane = this.capacity * 4;
    const xs = arena.f32(this.list, count);
    const ys = arena.f32(this.list + plane, count);
    const values = arena.f32(this.list + 2 * plane, count);
    const weights = arena.f32(this.list + 3 * plane, count);
    const residuals = arena.f32(this.list + 4 * plane, count);
    for (let i = 0; i < count; i++) if (weights[i] > 0) visit(values[i], residuals[i], xs[i], ys[i]);
  }
}
