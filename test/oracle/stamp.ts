import { counts, type Picture } from '../support/planes.ts';
import { hotReplacement } from './detect.ts';

/** One gathered pixel: offset from the middle, value above the sky. */
export interface Sample {
  dx: number;
  dy: number;
  value: number;
}

export interface GatherWish {
  cx: number;
  cy: number;
  radius: number;
  level: number;
  sigma: number;
  sites: number;
  saturation: number;
  /** Discs to leave out: dx, dy, squared radius. */
  neighbours: [number, number, number][];
}

/** Plain version of the gathering: the usable pixels of a disc, row by row, and what became of the others. */
export function gather(picture: Picture, wish: GatherWish) {
  const { pixels, widthPx, heightPx } = picture;
  const samples: Sample[] = [];
  const stats = { saturated: 0, outside: 0, masked: 0, peak: 0 };
  const reach = Math.floor(wish.radius);
  for (let dy = -reach; dy <= reach; dy++)
    for (let dx = -reach; dx <= reach; dx++) {
      const x = wish.cx + dx;
      const y = wish.cy + dy;
      if (dx * dx + dy * dy > wish.radius ** 2 || !counts(wish.sites, x, y)) continue;
      if (x < 0 || y < 0 || x >= widthPx || y >= heightPx) {
        stats.outside++;
        continue;
      }
      const stored = pixels[y * widthPx + x];
      const value = Math.fround(stored - wish.level);
      const covered = wish.neighbours.some(([nx, ny, r2]) => (dx - nx) ** 2 + (dy - ny) ** 2 < r2);
      const replacement =
        value > 8 * wish.sigma ? hotReplacement(picture, x, y, wish.level, wish.sigma, wish.sites) : NaN;
      if (Number.isNaN(stored) || covered) stats.masked++;
      else if (stored >= wish.saturation) stats.saturated++;
      else if (!Number.isNaN(replacement)) stats.masked++;
      else {
        samples.push({ dx, dy, value });
        stats.peak = Math.max(stats.peak, value);
      }
    }
  return { samples, ...stats };
}

export interface AdaptiveState {
  x: number;
  y: number;
  xx: number;
  yy: number;
  xy: number;
}

/**
 * Adaptive moments to their fixed point: M = 2 <(r - m)(r - m)'> under the weight exp(-q / 2) with covariance M
 * (Bernstein & Jarvis 2002, AJ 123, 583), the weight cut at q = 20. Null when it collapses.
 */
export function adaptiveMoments(samples: Sample[], start: AdaptiveState): AdaptiveState | null {
  let state = start;
  for (let round = 0; round < 2000; round++) {
    const { x, y, xx, yy, xy } = state;
    const det = xx * yy - xy * xy;
    if (!(det > 0.0081)) return null;
    let [s, sx, sy, sxx, syy, sxy] = [0, 0, 0, 0, 0, 0];
    for (const { dx, dy, value } of samples) {
      const [u, v] = [dx - x, dy - y];
      const q = (yy * u * u - 2 * xy * u * v + xx * v * v) / det;
      if (q > 20) continue;
      const w = value * Math.exp(-q / 2);
      s += w;
      sx += w * u;
      sy += w * v;
      sxx += w * u * u;
      syy += w * v * v;
      sxy += w * u * v;
    }
    const [mx, my] = [sx / s, sy / s];
    const next = {
      x: x + 2 * mx,
      y: y + 2 * my,
      xx: 2 * (sxx / s - mx * mx),
      yy: 2 * (syy / s - my * my),
      xy: 2 * (sxy / s - mx * my),
    };
    const change = Math.hypot(next.x - x, next.y - y, next.xx - xx, next.yy - yy, next.xy - xy);
    state = next;
    if (change < 1e-9) return state;
  }
  return null;
}

/** Plain version of the block average: the mean of the sites' pixels with a value, NaN where there is none. */
export function blockAverage(
  { pixels, widthPx, heightPx }: Picture,
  factor: number,
  sites: number,
): Float32Array {
  const [cols, rows] = [Math.floor(widthPx / factor), Math.floor(heightPx / factor)];
  const means = new Float32Array(cols * rows);
  for (let row = 0; row < rows; row++)
    for (let col = 0; col < cols; col++) {
      const block: number[] = [];
      for (let y = row * factor; y < (row + 1) * factor; y++)
        for (let x = col * factor; x < (col + 1) * factor; x++)
          if (counts(sites, x, y)) block.push(pixels[y * widthPx + x]);
      const used = block.filter((value) => !Number.isNaN(value));
      means[row * cols + col] = used.reduce((sum, value) => sum + value, 0) / used.length;
    }
  return means;
}
