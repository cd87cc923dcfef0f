import type { Estimate } from '../protocol/report.ts';
import type { StampSet } from '../protocol/stamps.ts';

/** Stars needed before a mean shift is told. */
const LEAST_STARS = 5;
const CLIP_MADS = 4;

/**
 * Mean shift of the red light against the blue (red minus blue) over the stars of a mosaic: each star's red and blue
 * pixels apart give a centroid by Gauss-Newton on a Gaussian of the star's own moments. Null without colours.
 * `moments`: [star][7] as in spot-moments.ts.
 */
export function measureDispersion(
  stamps: StampSet,
  stars: readonly number[],
  moments: Float64Array,
): { x: Estimate; y: Estimate } | null {
  if (!stamps.channel.some((channel) => channel === 0) || !stamps.channel.some((channel) => channel === 2))
    return null;
  const shifts: [number, number][] = [];
  for (const star of stars) {
    const red = colourCentroid(stamps, star, moments, 0);
    const blue = colourCentroid(stamps, star, moments, 2);
    if (red && blue) shifts.push([red[0] - blue[0], red[1] - blue[1]]);
  }
  if (shifts.length < LEAST_STARS) return null;
  const axis = (k: 0 | 1): Estimate => {
    const values = shifts.map((shift) => shift[k]);
    const centre = median(values);
    const spread = 1.4826 * median(values.map((value) => Math.abs(value - centre)));
    const kept = values.filter((value) => Math.abs(value - centre) <= CLIP_MADS * (spread + 1e-3));
    const mean = kept.reduce((sum, value) => sum + value, 0) / kept.length;
    const variance = kept.reduce((sum, value) => sum + (value - mean) ** 2, 0) / Math.max(kept.length - 1, 1);
    return { value: mean, sigma: Math.sqrt(variance / kept.length) };
  };
  return { x: axis(0), y: axis(1) };
}

/** Centroid of one colour's pixels from the stamp's middle, or null when it does not settle. */
function colourCentroid(
  stamps: StampSet,
  star: number,
  moments: Float64Array,
  colour: 0 | 2,
): [number, number] | null {
  const side = stamps.sidePx;
  const middle = (side - 1) / 2;
  const first = star * side * side;
  const [trace, q1, q2] = moments.subarray(7 * star, 7 * star + 3);
  if (!(trace > 0)) return null;
  // The pixel of one colour sees the star through the same pixel; half a pixel squared keeps the template broad.
  const xx = (trace + q1) / 2 + 0.25;
  const yy = (trace - q1) / 2 + 0.25;
  const xy = q2 / 2;
  const det = xx * yy - xy * xy;
  if (!(det > 0)) return null;
  const radius2 = 9 * trace;
  let cx = stamps.xPx[star] - stamps.originXPx[star] - middle;
  let cy = stamps.yPx[star] - stamps.originYPx[star] - middle;
  for (let iteration = 0; iteration < 8; iteration++) {
    // Unknowns: amplitude, background, dx, dy.
    const h = new Float64Array(16);
    const g = new Float64Array(4);
    const row = new Float64Array(4);
    const collect = (amplitude: number, background: number) => {
      h.fill(0);
      g.fill(0);
      for (let y = 0; y < side; y++)
        for (let x = 0; x < side; x++) {
          const at = first + y * side + x;
          if (stamps.channel[at] !== colour) continue;
          const dx = x - middle - cx;
          const dy = y - middle - cy;
          if (dx * dx + dy * dy > radius2) continue;
          const px = (yy * dx - xy * dy) / det;
          const py = (xx * dy - xy * dx) / det;
          const e = Math.exp(-0.5 * (dx * px + dy * py));
          const residual = stamps.electrons[at] - background - amplitude * e;
          const weight = 1 / (stamps.backgroundVariance[star] + Math.max(amplitude * e, 0));
          row[0] = e;
          row[1] = 1;
          row[2] = amplitude * e * px;
          row[3] = amplitude * e * py;
          for (let a = 0; a < 4; a++) {
            g[a] += weight * row[a] * residual;
            for (let b = 0; b < 4; b++) h[4 * a + b] += weight * row[a] * row[b];
          }
        }
    };
    // Amplitude and background first (linear), then the step of the position with them.
    collect(0, 0);
    const determinant = h[0] * h[5] - h[1] * h[1];
    if (!(determinant > 0)) return null;
    const amplitude = (g[0] * h[5] - g[1] * h[1]) / determinant;
    const background = (g[1] * h[0] - g[0] * h[1]) / determinant;
    if (!(amplitude > 0)) return null;
    collect(amplitude, background);
    const d = h[10] * h[15] - h[11] * h[11];
    if (!(d > 0)) return null;
    const stepX = (g[2] * h[15] - g[3] * h[11]) / d;
    const stepY = (g[3] * h[10] - g[2] * h[11]) / d;
    cx += Math.max(-1, Math.min(1, stepX));
    cy += Math.max(-1, Math.min(1, stepY));
    if (Math.hypot(stepX, stepY) < 2e-3) return Math.hypot(cx, cy) < middle ? [cx, cy] : null;
  }
  return null;
}

const median = (values: number[]): number => [...values].sort((a, b) => a - b)[values.length >> 1];
