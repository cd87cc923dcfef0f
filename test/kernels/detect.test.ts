import { beforeAll, describe, expect, test } from 'vitest';
import type { Kernels } from '../../workers/wasm/kernels.ts';
import { filtered, type Mesh } from '../oracle/detect.ts';
import { noisePicture } from '../support/noise-pictures.ts';
import { inArena, planeOf, SITES, testKernels, type Picture } from '../support/planes.ts';

let kernels: Kernels;
beforeAll(async () => {
  kernels = await testKernels();
});

interface Found {
  runs: { x0: number; x1: number; y: number }[];
  peaks: { x: number; y: number; significance: number; dx: number; dy: number }[];
}

function kernelDetect(
  picture: Picture,
  mesh: Mesh,
  sites: number,
  order: number,
  threshold: number,
  capacity = 50_000,
): Found | null {
  const { run, arena } = kernels;
  return inArena(kernels, () => {
    const plane = planeOf(kernels, picture, { sites });
    const cells = mesh.cols * mesh.rows;
    const [levels, sigmas] = [arena.alloc(cells * 4), arena.alloc(cells * 4)];
    const [runs, peaks, peakCount] = [arena.alloc(capacity * 8), arena.alloc(capacity * 20), arena.alloc(4)];
    const scratchBytes = (plane.widthPx + 27) * (order + 16) * 4;
    const scratch = arena.alloc(scratchBytes + 4);
    arena.f32(levels, cells).set(mesh.levels);
    arena.f32(sigmas, cells).set(mesh.sigmas);
    arena.f32(scratch + scratchBytes, 1)[0] = 42;
    const detect = plane.kind === 'u16' ? run.detectU16 : run.detectF32;
    const count = detect(
      plane.address,
      plane.widthPx,
      plane.heightPx,
      levels,
      sigmas,
      mesh.cols,
      mesh.rows,
      sites,
      order,
      1 / sumOfSquares(order),
      threshold,
      runs,
      capacity,
      peaks,
      peakCount,
      scratch,
    );
    expect(arena.f32(scratch + scratchBytes, 1)[0]).toBe(42);
    if (count < 0) return null;
    const runView = new DataView(run.memory.buffer, runs);
    const peakView = new DataView(run.memory.buffer, peaks);
    return {
      runs: Array.from({ length: count }, (_, i) => ({
        x0: runView.getUint16(8 * i, true),
        x1: runView.getUint16(8 * i + 2, true),
        y: runView.getUint32(8 * i + 4, true),
      })),
      peaks: Array.from({ length: arena.i32(peakCount, 1)[0] }, (_, i) => ({
        x: peakView.getUint32(20 * i, true),
        y: peakView.getUint32(20 * i + 4, true),
        significance: peakView.getFloat32(20 * i + 8, true),
        dx: peakView.getFloat32(20 * i + 12, true),
        dy: peakView.getFloat32(20 * i + 16, true),
      })),
    };
  });
}

/** Binomial coefficients C(n, 0) to C(n, n), by Pascal's triangle. */
function binomials(n: number): number[] {
  let row = [1];
  for (let i = 0; i < n; i++) row = [1, ...row.slice(1).map((value, j) => value + row[j]), 1];
  return row;
}

const sumOfSquares = (order: number) => binomials(order).reduce((sum, value) => sum + value ** 2, 0);

/** Half a binomial of this order from its middle outwards, square sum of the whole 1. */
const binomialTaps = (order: number): number[] =>
  binomials(order)
    .slice(order / 2)
    .map((value) => value / Math.sqrt(sumOfSquares(order)));

const slopingMesh = (cols: number, rows: number): Mesh => ({
  cols,
  rows,
  levels: Float32Array.from(
    { length: cols * rows },
    (_, i) => 800 + 5 * (i % cols) - 3 * Math.floor(i / cols),
  ),
  sigmas: Float32Array.from({ length: cols * rows }, (_, i) => 11 + 0.3 * (i % cols)),
});

/**
 * Single precision over some twenty sums of values up to s loses about 1e-6 s; where stored values are near 1000 and
 * the noise near 10, the sky adds 1e-5. Only pixels that far from the threshold or from their neighbours are compared.
 */
const slack = (significance: number) => 2e-4 + 2e-6 * Math.abs(significance);

/** Everything in which a detection differs from the plain map, as sentences. */
function differences(
  found: Found,
  map: Float64Array,
  { widthPx, heightPx }: Picture,
  threshold: number,
): string[] {
  const wrong: string[] = [];
  const at = (i: number) => `at ${i % widthPx}, ${Math.floor(i / widthPx)} (${map[i]})`;
  const marked = new Uint8Array(map.length);
  let before = -1;
  for (const { x0, x1, y } of found.runs) {
    // Rows are taken as one pixel longer than they are, so that a run at the start of one follows any run before it.
    if (x1 <= x0 || x1 > widthPx || y * (widthPx + 1) + x0 <= before)
      wrong.push(`run ${x0} to ${x1} in ${y}`);
    before = y * (widthPx + 1) + x1;
    marked.fill(1, y * widthPx + x0, y * widthPx + x1);
  }
  const around = (i: number) => {
    const x = i % widthPx;
    const y = (i - x) / widthPx;
    let most = -Infinity;
    for (let py = Math.max(0, y - 1); py <= Math.min(heightPx - 1, y + 1); py++)
      for (let px = Math.max(0, x - 1); px <= Math.min(widthPx - 1, x + 1); px++)
        if (px !== x || py !== y) most = Math.max(most, map[py * widthPx + px]);
    return most;
  };
  const listed = new Set<number>();
  for (const { x, y, significance } of found.peaks) {
    const i = y * widthPx + x;
    if (listed.has(i)) wrong.push(`peak listed twice ${at(i)}`);
    listed.add(i);
    if (!(Math.abs(significance - map[i]) < slack(map[i]))) wrong.push(`peak of ${significance} ${at(i)}`);
    if (map[i] - around(i) < -slack(map[i])) wrong.push(`no peak ${at(i)}`);
  }
  map.forEach((value, i) => {
    if (Math.abs(value - threshold) > slack(value) && marked[i] !== (value > threshold ? 1 : 0))
      wrong.push(`${marked[i] ? 'marked' : 'not marked'} ${at(i)}`);
    if (value > threshold + slack(value) && value > around(i) + slack(value) && !listed.has(i))
      wrong.push(`missing peak ${at(i)}`);
  });
  return wrong;
}

const SIZES: [widthPx: number, heightPx: number][] = [
  [203, 150],
  [1045, 19], // wider than two tiles of sky
  [64, 64],
  [61, 7],
  [130, 1],
  [1, 130],
  [3, 2],
  [5, 9],
  [4, 4],
];

describe.each(['u16', 'f32'] as const)('detection on %s pixels equals the plain version', (kind) => {
  test.each(SIZES)('%i x %i', (widthPx, heightPx) => {
    const area = widthPx * heightPx;
    const picture = noisePicture({
      widthPx,
      heightPx,
      kind,
      seed: 3 * widthPx + heightPx,
      stars: Math.ceil(area / 700) + 1,
      hot: Math.ceil(area / 1500) + 1,
      holes: kind === 'f32' ? Math.ceil(area / 60) : 0,
    });
    for (const sites of Object.values(SITES))
      for (const order of [2, 6, 8, 16]) {
        const mesh = slopingMesh(
          Math.max(1, Math.round(widthPx / 64)),
          Math.max(1, Math.round(heightPx / 64)),
        );
        const found = kernelDetect(picture, mesh, sites, order, 3)!;
        const map = filtered(picture, mesh, sites, binomialTaps(order));
        expect(differences(found, map, picture, 3)).toEqual([]);
        if (area > 9000 && sites === SITES.all) expect(found.peaks.length).toBeGreaterThan(10);
      }
  });
});

describe('what the numbers mean', () => {
  const flatMesh: Mesh = {
    cols: 1,
    rows: 1,
    levels: Float32Array.of(100),
    sigmas: Float32Array.of(5),
  };
  const flat = (widthPx = 41, heightPx = 37): Picture => ({
    pixels: new Float32Array(widthPx * heightPx).fill(100),
    widthPx,
    heightPx,
  });

  test('a star of the shape of the filter has its matched-filter signal to noise, a Gaussian one loses little', () => {
    // Signal to noise of a matched filter over white noise: root of the sum of the squared signal over sigma (Turin 1960,
    // IRE Trans. Inf. Theory 6, 311).
    const taps = binomialTaps(6).map((tap) => tap / binomialTaps(6)[0]);
    const shapes = {
      binomial: (dx: number, dy: number) => (taps[Math.abs(dx)] ?? 0) * (taps[Math.abs(dy)] ?? 0),
      gaussian: (dx: number, dy: number) => Math.exp((-0.5 * (dx ** 2 + dy ** 2)) / 1.5),
    };
    const share = Object.values(shapes).map((shape) => {
      const picture = flat();
      let squares = 0;
      for (let y = 0; y < 37; y++)
        for (let x = 0; x < 41; x++) {
          const light = 60 * shape(x - 20, y - 18);
          picture.pixels[y * 41 + x] += light;
          squares += light ** 2;
        }
      const { peaks } = kernelDetect(picture, flatMesh, 15, 6, 5)!;
      expect(peaks).toHaveLength(1);
      expect(peaks[0]).toMatchObject({ x: 20, y: 18 });
      return peaks[0].significance / (Math.sqrt(squares) / 5);
    });
    expect(share[0]).toBeCloseTo(1, 5);
    expect(share[1]).toBeLessThan(1);
    expect(share[1]).toBeGreaterThan(0.995);
  });

  test('the vertex of a peak lies where the star is, to a twentieth of a pixel', () => {
    for (const [dx, dy] of [
      [0.3, -0.45],
      [-0.2, 0.1],
    ]) {
      const picture = flat();
      for (let y = 0; y < 37; y++)
        for (let x = 0; x < 41; x++)
          picture.pixels[y * 41 + x] += 60 * Math.exp(-0.5 * ((x - 20 - dx) ** 2 + (y - 18 - dy) ** 2));
      const [peak] = kernelDetect(picture, flatMesh, 15, 6, 5)!.peaks;
      expect(Math.abs(peak.x + peak.dx - 20 - dx)).toBeLessThan(0.05);
      expect(Math.abs(peak.y + peak.dy - 18 - dy)).toBeLessThan(0.05);
    }
  });

  test.each([
    [2, 2],
    [3, 3],
    [5, 4],
  ])('a plateau of %i x %i equal pixels is one run a row and one peak', (w, h) => {
    const picture = flat();
    for (let y = 10; y < 10 + h; y++) for (let x = 15; x < 15 + w; x++) picture.pixels[y * 41 + x] = 300;
    // Of order 0 the filter does nothing: the plateau stays exactly level.
    const { runs, peaks } = kernelDetect(picture, flatMesh, 15, 0, 5)!;
    expect(runs).toEqual(Array.from({ length: h }, (_, j) => ({ x0: 15, x1: 15 + w, y: 10 + j })));
    expect(peaks).toHaveLength(1);
  });

  test('a lone hot pixel and a hot corner leave nothing, on a mosaic too; a pixel of a narrow star stays', () => {
    for (const sites of Object.values(SITES)) {
      const picture = flat();
      for (const [x, y] of [
        [20, 20],
        [21, 30],
        [0, 0],
        [40, 36],
        [30, 11],
      ])
        picture.pixels[y * 41 + x] = 30_000;
      expect(kernelDetect(picture, flatMesh, sites, 6, 5)).toEqual({ runs: [], peaks: [] });
    }
    const star = flat();
    // Full width 1.3 px: neighbours hold exp(-4 ln 2 / 1.69) = 19 % of the peak.
    for (let y = 0; y < 37; y++)
      for (let x = 0; x < 41; x++)
        star.pixels[y * 41 + x] += 3000 * Math.exp((-4 * Math.LN2 * ((x - 20) ** 2 + (y - 18) ** 2)) / 1.69);
    expect(kernelDetect(star, flatMesh, 15, 6, 5)!.peaks).toHaveLength(1);
  });

  test('more runs than there is room for are reported, not written', () => {
    const picture = flat();
    for (let i = 0; i < picture.pixels.length; i += 3) picture.pixels[i] = 200;
    expect(kernelDetect(picture, flatMesh, 15, 0, 5, 20)).toBeNull();
  });
});
