import { counts, type Picture } from '../support/planes.ts';

/**
 * Plain version of the sky mesh: per cell the usable pixels of every rowStep-th pair of rows, a first guess by median and
 * median deviation of every n-th, a histogram of 128 bins over five deviations either side (each value shifted by up to
 * half of the quantum, in a golden-ratio sequence), clipped at three deviations about the median until nothing changes;
 * anew about that where the histogram did not hold it.
 */
export interface MeshWish {
  cols: number;
  rows: number;
  sites: number;
  rowStep: number;
  quantum: number;
}

export function skyMesh(picture: Picture, { cols, rows, sites, rowStep, quantum }: MeshWish) {
  const levels = new Float32Array(cols * rows);
  const sigmas = new Float32Array(cols * rows);
  const edge = (index: number, size: number, cells: number) => Math.floor((index * size) / cells);
  for (let row = 0; row < rows; row++)
    for (let col = 0; col < cols; col++) {
      const values: number[] = [];
      const top = edge(row, picture.heightPx, rows);
      for (let y = top; y < edge(row + 1, picture.heightPx, rows); y++)
        for (let x = edge(col, picture.widthPx, cols); x < edge(col + 1, picture.widthPx, cols); x++) {
          if (Math.floor((y - top) / 2) % rowStep !== 0) continue;
          const value = picture.pixels[y * picture.widthPx + x];
          if (counts(sites, x, y) && !Number.isNaN(value)) values.push(value);
        }
      [levels[row * cols + col], sigmas[row * cols + col]] = cellSky(values, quantum);
    }
  return { levels, sigmas };
}

const BINS = 128;
const middle = (values: number[]) => [...values].sort((a, b) => a - b)[values.length >> 1];

export function cellSky(values: number[], quantum: number): [level: number, sigma: number] {
  if (values.length < 32) return [NaN, NaN];
  const stride = Math.max(1, Math.floor(values.length / 63));
  const sample = values.filter((_, i) => i % stride === 0).slice(0, 63);
  const guess = middle(sample);
  const deviation = middle(sample.map((value) => Math.fround(Math.abs(value - guess))));
  const spread = Math.max(1.4826 * deviation, 0.5 * quantum);
  if (spread === 0) return [guess, 0];

  let found = clipped(values, quantum, guess, spread);
  for (let again = 0; again < 3 && !found.held; again++)
    found = clipped(
      values,
      quantum,
      found.low + found.median * found.binWidth,
      1.25 * found.sigma * found.binWidth,
    );
  const { low, binWidth, mean, median, sigma } = found;
  const mode = Math.abs(mean - median) > 0.3 * sigma ? median : 2.5 * median - 1.5 * mean;
  const dither = quantum ** 2 / 12;
  const variance = ((sigma * binWidth) / 0.98658) ** 2 - dither;
  return [low + mode * binWidth, Math.sqrt(Math.max(variance, dither))];
}

/** One histogram about a guess and its clipped mean, median and deviation, in bins. Places of values in single precision. */
function clipped(values: number[], quantum: number, guess: number, spread: number) {
  const binWidth = (10 * spread) / BINS;
  const low = guess - 5 * spread;
  const f32 = Math.fround;
  const hits = new Array<number>(BINS).fill(0);
  values.forEach((value, i) => {
    const phase = f32(Math.imul(i + 1, 0x9e3779b9)) * f32(f32(quantum) * f32(2 ** -32));
    const bin = Math.floor(f32(f32(f32(value - f32(low)) + f32(phase)) * f32(1 / binWidth)));
    if (bin >= 0 && bin < BINS) hits[bin]++;
  });
  let [from, to] = [0, BINS];
  let [mean, median, sigma] = [0, 0, 0];
  for (let round = 0; round < 6; round++) {
    const bins = hits.map((count, bin) => ({ count, at: bin + 0.5 })).slice(from, to);
    const total = bins.reduce((sum, { count }) => sum + count, 0);
    if (total < 16) break;
    mean = bins.reduce((sum, { count, at }) => sum + count * at, 0) / total;
    const square = bins.reduce((sum, { count, at }) => sum + count * (at - mean) ** 2, 0) / total;
    sigma = Math.sqrt(Math.max(square, 1 / 12));
    let below = 0;
    for (const { count, at } of bins) {
      if (below + count >= total / 2) {
        median = at - 0.5 + (total / 2 - below) / Math.max(count, 1);
        break;
      }
      below += count;
    }
    const nextFrom = Math.max(0, Math.floor(median - 3 * sigma));
    const nextTo = Math.min(BINS, Math.ceil(median + 3 * sigma));
    if (nextFrom <= from && nextTo >= to) break;
    from = Math.max(from, nextFrom);
    to = Math.min(to, nextTo);
  }
  return { low, binWidth, mean, median, sigma, held: median - 3 * sigma >= 0 && median + 3 * sigma <= BINS };
}

/** Greatest common divisor of the differences of every stride-th value from the first, at least 1. */
export function quantum(values: Uint16Array, stride: number): number {
  const gcd = (a: number, b: number): number => (b === 0 ? a : gcd(b, a % b));
  let step = 0;
  for (let i = 0; i < values.length; i += stride) step = gcd(step, Math.abs(values[i] - values[0]));
  return Math.max(step, 1);
}
