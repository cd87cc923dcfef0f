/** What the compiled kernels export. Addresses are bytes in `memory`; each kernel's own file documents it. */
export interface KernelExports {
  memory: WebAssembly.Memory;
  /** First address that the kernels leave free. */
  heapBase(): number;

  // kernels/decode.ts
  decodeI16(source: number, target: number, count: number): void;
  decodeU8(source: number, target: number, count: number): void;
  decodeI32(
    source: number,
    target: number,
    count: number,
    scale: number,
    zero: number,
    hasBlank: number,
    blank: number,
  ): void;
  decodeI64(
    source: number,
    target: number,
    count: number,
    scale: number,
    zero: number,
    unsigned: number,
    hasBlank: number,
    blank: bigint,
  ): void;
  decodeF32(source: number, target: number, count: number): void;
  decodeF32Scaled(source: number, target: number, count: number, scale: number, zero: number): void;
  decodeF64(source: number, target: number, count: number, scale: number, zero: number): void;
  widenU16(address: number, count: number, offset: number, scale: number, zero: number, blank: number): void;
  maxU16(address: number, count: number): number;
  countU16(address: number, count: number, low: number, high: number): number;
  maxF32(address: number, count: number): number;
  countF32(address: number, count: number, low: number, high: number): number;

  // kernels/mesh.ts
  meshU16: MeshKernel;
  meshF32: MeshKernel;
  quantumU16(pixels: number, count: number, stride: number): number;

  // kernels/detect.ts
  detectU16: DetectKernel;
  detectF32: DetectKernel;

  // kernels/bin.ts
  binU16: BinKernel;
  binF32: BinKernel;

  // kernels/stamp.ts
  gatherU16: GatherKernel;
  gatherF32: GatherKernel;
  adaptiveMoments(
    list: number,
    capacity: number,
    count: number,
    state: number,
    iterations: number,
    fast: number,
    maxWidth: number,
    maxShift: number,
  ): number;

  // kernels/fit.ts
  fitProfile(
    list: number,
    capacity: number,
    count: number,
    nodes: number,
    nodeCount: number,
    k: number,
    skyVariance: number,
    unitsPerElectron: number,
    expected: number,
    perHeight: number,
    certainty: number,
    held: boolean,
    iterations: number,
    enough: number,
    params: number,
    covariance: number,
    fit: number,
    work: number,
  ): number;

  // kernels/growth.ts
  residualRings(
    list: number,
    capacity: number,
    count: number,
    params: number,
    ringsPerPx: number,
    rings: number,
    wxx: number,
    wyy: number,
    wxy: number,
    sums: number,
    counts: number,
    data: number,
    moments: number,
  ): void;

  halfLightRadius(
    params: number,
    k: number,
    inside: number,
    rings: number,
    ringsPerPx: number,
    halo: number,
    haloCount: number,
    haloLight: number,
    half: number,
  ): number;

  // kernels/profile.ts
  lightWithin(params: number, k: number, r: number): number;
  subtractProfile(
    list: number,
    capacity: number,
    count: number,
    nodes: number,
    nodeCount: number,
    k: number,
    params: number,
  ): void;

  // kernels/mean-residual.ts
  packResiduals(
    list: number,
    capacity: number,
    count: number,
    params: number,
    kept: number,
    flux: number,
    skyVariance: number,
    unitsPerElectron: number,
    weight: number,
    out: number,
  ): number;
  layResiduals: LayKernel;
  layRest: LayKernel;
  residualNoise(records: number, count: number, x: number, y: number, discPx: number): number;

  // kernels/mean-picture.ts
  layStarU16: LayStarKernel;
  layStarF32: LayStarKernel;

  // kernels/psf.ts
  psfTransfers(
    plan: number,
    coefficients: number,
    termCount: number,
    wanted: number,
    wantedCount: number,
  ): void;
  psfImage(plan: number, source: number, factors: number, out: number): void;
}

/** The last addresses: sum and weight for the first picture, mean and rest for the second. */
type LayKernel = (
  records: number,
  count: number,
  middle: number,
  steps: number,
  discPx: number,
  one: number,
  other: number,
) => void;

type LayStarKernel = (
  pixels: number,
  width: number,
  height: number,
  sites: number,
  x0: number,
  y0: number,
  radius: number,
  sky: number,
  flux: number,
  starWeight: number,
  mean: number,
  peak: number,
  side: number,
  sums: number,
  work: number,
) => void;

type MeshKernel = (
  pixels: number,
  width: number,
  height: number,
  cols: number,
  rows: number,
  sites: number,
  rowStep: number,
  quantum: number,
  levels: number,
  sigmas: number,
  scratch: number,
) => void;

type DetectKernel = (
  pixels: number,
  width: number,
  height: number,
  levels: number,
  sigmas: number,
  cols: number,
  rows: number,
  sites: number,
  order: number,
  norm: number,
  threshold: number,
  runs: number,
  runCapacity: number,
  peaks: number,
  peakCount: number,
  scratch: number,
) => number;

type BinKernel = (
  pixels: number,
  width: number,
  height: number,
  factor: number,
  sites: number,
  out: number,
) => void;

type GatherKernel = (
  pixels: number,
  width: number,
  height: number,
  cx: number,
  cy: number,
  radius: number,
  level: number,
  sigma: number,
  sites: number,
  saturation: number,
  neighbours: number,
  neighbourCount: number,
  list: number,
  capacity: number,
  stats: number,
) => number;
