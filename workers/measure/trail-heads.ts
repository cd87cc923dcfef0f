import { median, robustSigma, SIGMA_PER_MAD } from '../math/robust.ts';

/** A frame's light as numbers above the sky, row by row; pixels without a value are 0. */
export interface LightPicture {
  values: Float32Array;
  widthPx: number;
  heightPx: number;
  /** Noise of one pixel. */
  noise: number;
}

/** Where a star stood before it ran. */
export interface TrailHead {
  xPx: number;
  yPx: number;
  /** Light within `HEAD_RADIUS_PX`, above the ring around it. */
  flux: number;
}

const CELL_PX = 64;
/** Values of a cell that are looked at for its sky. */
const STRIDE = 3;

/** Takes the sky away: medians of cells on each of the four sites of a mosaic, so that colours do not matter. */
export function lightOf(values: ArrayLike<number>, widthPx: number, heightPx: number): LightPicture {
  const cols = Math.max(1, Math.round(widthPx / CELL_PX));
  const rows = Math.max(1, Math.round(heightPx / CELL_PX));
  const sky = new Float32Array(4 * cols * rows);
  const out = new Float32Array(widthPx * heightPx);
  const samples: number[][] = Array.from({ length: 4 * cols * rows }, () => []);
  const cellOf = (x: number, y: number) =>
    4 * (Math.floor((y * rows) / heightPx) * cols + Math.floor((x * cols) / widthPx)) + (x & 1) + 2 * (y & 1);
  for (let y = 0; y < heightPx; y++)
    for (let x = y % STRIDE; x < widthPx; x += STRIDE) {
      const value = values[y * widthPx + x];
      if (Number.isFinite(value)) samples[cellOf(x, y)].push(value);
    }
  samples.forEach((list, i) => (sky[i] = median(list)));
  const differences: number[] = [];
  for (let y = 0; y < heightPx; y++)
    for (let x = 0; x < widthPx; x++) {
      const i = y * widthPx + x;
      const value = values[i] - sky[cellOf(x, y)];
      out[i] = Number.isFinite(value) ? value : 0;
      if (i % 7 === 0) differences.push(out[i]);
    }
  const noise = robustSigma(differences, 0) || SIGMA_PER_MAD * 1e-6;
  return { values: out, widthPx, heightPx, noise };
}

export const HEAD_RADIUS_PX = 7;
const APART_PX = 30;
const MOST_HEADS = 90;
const LEAST_SIGMAS = 15;

/** The brightest points that are not saturated (`mostLight` above the sky), brightest first, apart from each other. */
export function findHeads(light: LightPicture, mostLight: number): TrailHead[] {
  const { values, widthPx, heightPx, noise } = light;
  const peaks: { x: number; y: number; level: number }[] = [];
  const least = (LEAST_SIGMAS * noise) / 3;
  const edge = HEAD_RADIUS_PX + 3;
  const smooth = (i: number) => {
    let sum = 0;
    for (const j of [i - widthPx, i, i + widthPx]) sum += values[j - 1] + values[j] + values[j + 1];
    return sum / 9;
  };
  for (let y = edge; y < heightPx - edge; y++)
    for (let x = edge; x < widthPx - edge; x++) {
      const i = y * widthPx + x;
      const value = values[i];
      if (value < least || value < values[i - 1] || value < values[i + 1]) continue;
      if (value < values[i - widthPx] || value < values[i + widthPx]) continue;
      const level = smooth(i);
      if (level > least) peaks.push({ x, y, level });
    }
  peaks.sort((p, q) => q.level - p.level);
  const heads: TrailHead[] = [];
  for (const { x, y } of peaks) {
    if (heads.length >= MOST_HEADS) break;
    if (heads.some((head) => Math.hypot(head.xPx - x, head.yPx - y) < APART_PX)) continue;
    const head = headAt(light, x, y, mostLight);
    if (head) heads.push(head);
  }
  return heads;
}

/** Centre and light of a head; null where it is saturated or is a hot pixel alone. */
function headAt(
  { values, widthPx }: LightPicture,
  x0: number,
  y0: number,
  mostLight: number,
): TrailHead | null {
  let [x, y] = [x0, y0];
  const peak = values[y0 * widthPx + x0];
  const beside = Math.max(
    values[y0 * widthPx + x0 + 1],
    values[y0 * widthPx + x0 - 1],
    values[(y0 + 1) * widthPx + x0],
    values[(y0 - 1) * widthPx + x0],
  );
  if (beside < 0.15 * peak) return null;
  // The core alone tells the place: the trail would pull a wider centroid along.
  for (let round = 0; round < 3; round++) {
    let [sum, sx, sy] = [0, 0, 0];
    for (let j = Math.round(y) - 3; j <= Math.round(y) + 3; j++)
      for (let i = Math.round(x) - 3; i <= Math.round(x) + 3; i++) {
        const value = Math.max(0, values[j * widthPx + i]) * Math.exp(-((i - x) ** 2 + (j - y) ** 2) / 4);
        if (values[j * widthPx + i] >= mostLight) return null;
        [sum, sx, sy] = [sum + value, sx + value * (i - x), sy + value * (j - y)];
      }
    if (!(sum > 0)) return null;
    // A weight as wide as the star halves the step.
    [x, y] = [x + (1.5 * sx) / sum, y + (1.5 * sy) / sum];
    if (Math.hypot(x - x0, y - y0) > 3) return null;
  }
  let flux = 0;
  const reach = HEAD_RADIUS_PX;
  for (let j = y0 - reach; j <= y0 + reach; j++)
    for (let i = x0 - reach; i <= x0 + reach; i++)
      if (Math.hypot(i - x, j - y) <= reach) flux += values[j * widthPx + i];
  return flux > 0 ? { xPx: x, yPx: y, flux } : null;
}
