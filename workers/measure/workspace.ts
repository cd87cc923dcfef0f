import type { Kernels } from '../wasm/kernels.ts';
import { siteShare, type Plane } from '../wasm/plane.ts';

/** Arrays of a pixel list, see kernels/stamp.ts: x, y, value, weight, residual, and six derivatives for the fit. */
const LIST_ARRAYS = 11;
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

/** What the kernels read and write about one star. */
interface Views {
  buffer: ArrayBufferLike;
  params: Float64Array;
  covariance: Float64Array;
  fit: Float64Array;
  state: Float64Array;
  stats: Float64Array;
  neighbours: Float32Array;
  /** Per ring: residual, pixels, data; then the cumulated residual and the halo. */
  residual: Float64Array;
  pixels: Float64Array;
  data: Float64Array;
  inside: Float64Array;
  halo: Float64Array;
  moments: Float64Array;
  /** The list's arrays: place, value, weight, residual. */
  x: Float32Array;
  y: Float32Array;
  value: Float32Array;
  weight: Float32Array;
  rest: Float32Array;
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
  readonly residual: number;
  readonly pixels: number;
  readonly data: number;
  readonly inside: number;
  readonly halo: number;
  /** As many zeros as there are edges of rings. */
  readonly nothing: number;
  readonly moments: number;
  readonly nodes: number;
  /** The quadrature in use: offset x, y and weight. */
  rule: number[][] = [];
  /** The profile whose residuals the list holds; null when they are of none that is known. */
  subtracted: object | null = null;
  private readonly stats: number;
  private readonly neighbours: number;
  private views: Views | null = null;

  constructor(
    readonly kernels: Kernels,
    readonly plane: Plane,
    readonly maxRadiusPx: number,
  ) {
    const { arena } = kernels;
    const side = 2 * Math.ceil(maxRadiusPx) + 1;
    this.capacity = (side * side + 8) & ~3;
    this.list = arena.alloc(this.capacity * 4 * LIST_ARRAYS);
    this.params = arena.alloc((PARAMETERS + 2) * 8);
    this.covariance = arena.alloc(PARAMETERS * PARAMETERS * 8);
    this.fit = arena.alloc(4 * 8);
    this.work = arena.alloc(((3 * PARAMETERS + 4) * PARAMETERS + 2) * 8);
    this.state = arena.alloc(5 * 8);
    const rings = () => arena.alloc((MAX_RINGS + 1) * 8);
    [this.residual, this.pixels, this.data, this.inside, this.halo] = [
      rings(),
      rings(),
      rings(),
      rings(),
      rings(),
    ];
    this.nothing = rings();
    arena.f64(this.nothing, MAX_RINGS + 1).fill(0);
    this.moments = arena.alloc(8 * 8);
    this.stats = arena.alloc(4 * 8);
    this.neighbours = arena.alloc(MAX_NEIGHBOURS * 12);
    this.nodes = arena.alloc(LEGENDRE.length ** 2 * 12);
    this.integratePixels(false);
  }

  /** Views of all this memory, made anew only when the memory has grown. */
  get view(): Views {
    const { arena, run } = this.kernels;
    if (this.views?.buffer === run.memory.buffer) return this.views;
    const column = (index: number) => arena.f32(this.list + index * this.capacity * 4, this.capacity);
    const rings = (address: number) => arena.f64(address, MAX_RINGS + 1);
    this.views = {
      buffer: run.memory.buffer,
      params: arena.f64(this.params, PARAMETERS + 2),
      covariance: arena.f64(this.covariance, PARAMETERS ** 2),
      fit: arena.f64(this.fit, 4),
      state: arena.f64(this.state, 5),
      stats: arena.f64(this.stats, 4),
      neighbours: arena.f32(this.neighbours, MAX_NEIGHBOURS * 3),
      residual: rings(this.residual),
      pixels: rings(this.pixels),
      data: rings(this.data),
      inside: rings(this.inside),
      halo: rings(this.halo),
      moments: arena.f64(this.moments, 8),
      x: column(0),
      y: column(1),
      value: column(2),
      weight: column(3),
      rest: column(4),
    };
    return this.views;
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
    const { run } = this.kernels;
    this.subtracted = null;
    const discs = Math.min(neighbours.length, MAX_NEIGHBOURS);
    for (let i = 0; i < discs; i++) this.view.neighbours.set(neighbours[i], 3 * i);
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
      discs,
      this.list,
      this.capacity,
      this.stats,
    );
    const { stats } = this.view;
    return { count, saturated: stats[0], outside: stats[1], masked: stats[2], peak: stats[3] };
  }

  /** Value, residual (as left by measureGrowth) and place of every gathered pixel that counts. */
  eachPixel(count: number, visit: (value: number, residual: number, x: number, y: number) => void): void {
    const { x, y, value, weight, rest } = this.view;
    for (let i = 0; i < count; i++) if (weight[i] > 0) visit(value[i], rest[i], x[i], y[i]);
  }
}
