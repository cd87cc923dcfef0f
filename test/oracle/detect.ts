import { counts, type Picture } from '../support/planes.ts';

/** A sky mesh as the detection is given it: nodes at the centres of cols x rows cells. */
export interface Mesh {
  cols: number;
  rows: number;
  levels: Float32Array;
  sigmas: Float32Array;
}

const HOT_SIGMAS = 8;
const HOT_SHARE = 0.05;

/**
 * Plain version of the detection filter: the frame less its sky over its noise, hot pixels replaced, other sites zero,
 * convolved with the taps along x and y; zero beyond the frame. Float64 throughout.
 */
export function filtered(picture: Picture, mesh: Mesh, sites: number, taps: ArrayLike<number>): Float64Array {
  const { widthPx, heightPx } = picture;
  const signal = new Float64Array(widthPx * heightPx);
  for (let y = 0; y < heightPx; y++)
    for (let x = 0; x < widthPx; x++) {
      if (!counts(sites, x, y)) continue;
      // The sky's row is renewed every fourth row, for the middle of the four.
      const skyY = 4 * Math.floor(y / 4) + 2;
      const level = interpolate(mesh, mesh.levels, picture, x, skyY);
      const sigma = interpolate(mesh, mesh.sigmas, picture, x, skyY);
      const raw = picture.pixels[y * widthPx + x];
      if (Number.isNaN(raw)) continue;
      const value = (raw - level) / sigma;
      const repaired = value > HOT_SIGMAS ? hotReplacement(picture, x, y, level, sigma, sites) : NaN;
      signal[y * widthPx + x] = Number.isNaN(repaired) ? value : (repaired - level) / sigma;
    }
  return convolve(convolve(signal, picture, taps, 1, 0), picture, taps, 0, 1);
}

function convolve(
  values: Float64Array,
  { widthPx, heightPx }: Picture,
  taps: ArrayLike<number>,
  stepX: number,
  stepY: number,
): Float64Array {
  return values.map((_, i) => {
    const x = i % widthPx;
    const y = (i - x) / widthPx;
    let sum = 0;
    for (let j = 1 - taps.length; j < taps.length; j++) {
      const px = x + j * stepX;
      const py = y + j * stepY;
      if (px >= 0 && py >= 0 && px < widthPx && py < heightPx)
        sum += taps[Math.abs(j)] * values[py * widthPx + px];
    }
    return sum;
  });
}

/** Linear between the nodes, level beyond the outermost. */
export function interpolate(
  { cols, rows }: Mesh,
  nodes: Float32Array,
  { widthPx, heightPx }: Picture,
  x: number,
  y: number,
): number {
  const place = (value: number, size: number, cells: number) =>
    Math.max(0, Math.min(cells - 1, ((value + 0.5) * cells) / size - 0.5));
  const fx = place(x, widthPx, cols);
  const fy = place(y, heightPx, rows);
  let sum = 0;
  for (let j = 0; j < rows; j++)
    for (let i = 0; i < cols; i++)
      sum += Math.max(0, 1 - Math.abs(i - fx)) * Math.max(0, 1 - Math.abs(j - fy)) * nodes[j * cols + i];
  return sum;
}

/** Rings of the same colour about a pixel: the four nearest and the four next. */
const RINGS = {
  mono: { straight: [1, 0], diagonal: [1, 1] },
  greens: { straight: [2, 0], diagonal: [1, 1] },
  single: { straight: [2, 0], diagonal: [2, 2] },
};

/** What stands in for a hot pixel, or NaN: both rings must hold less than 5 % of it and one sigma. */
export function hotReplacement(
  picture: Picture,
  x: number,
  y: number,
  level: number,
  sigma: number,
  sites: number,
): number {
  const { pixels, widthPx, heightPx } = picture;
  const value = pixels[y * widthPx + x] - level;
  const kind = sites === 15 ? 'mono' : sites === 6 || sites === 9 ? 'greens' : 'single';
  const mean = ([dx, dy]: number[]) => {
    const ring = [
      [dx, dy],
      [-dy, dx],
      [-dx, -dy],
      [dy, -dx],
    ]
      .map(([i, j]) => [x + i, y + j])
      .filter(([px, py]) => px >= 0 && py >= 0 && px < widthPx && py < heightPx)
      .map(([px, py]) => pixels[py * widthPx + px])
      .filter((pixel) => !Number.isNaN(pixel));
    return ring.reduce((sum, pixel) => sum + pixel, 0) / Math.max(ring.length, 1) - level;
  };
  const [straight, diagonal] = [mean(RINGS[kind].straight), mean(RINGS[kind].diagonal)];
  const cap = HOT_SHARE * value + sigma;
  if (straight >= cap || diagonal >= cap) return NaN;
  return level + (kind === 'greens' ? diagonal : straight);
}
