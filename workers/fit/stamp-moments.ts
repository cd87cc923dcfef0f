import type { StampSet } from '../protocol/stamps.ts';
import { borderLevel, isFitted } from './stamp-pixels.ts';

/** Moments of the stars from their stamps by a Gaussian weight that follows the star. Good to start a fit, no more. */
export interface StampMoments {
  /** [star][MOMENT_COUNT], see spot-moments.ts; NaN where the star could not be measured. */
  moments: Float64Array;
  /** Centroid from the middle of the stamp. */
  dxPx: Float64Array;
  dyPx: Float64Array;
  flux: Float64Array;
  /** Flux over its noise in the matched aperture. */
  snr: Float64Array;
}

const ITERATIONS = 25;
const LEAST_VARIANCE = 0.25;

/** Stamps never change: fit and plain look share one measurement of a set. */
const measured = new WeakMap<StampSet, StampMoments>();

/** Moments of all stars of a set, measured once. Not to be written to. */
export function stampMoments(stamps: StampSet): StampMoments {
  const known = measured.get(stamps) ?? measureAll(stamps);
  measured.set(stamps, known);
  return known;
}

/** Copies of the stars' places to start a fit from: the stamp's middle where a star could not be measured. */
export function startingPlaces({ dxPx, dyPx }: StampMoments): Pick<StampMoments, 'dxPx' | 'dyPx'> {
  const finite = (values: Float64Array) => values.map((value) => (Number.isFinite(value) ? value : 0));
  return { dxPx: finite(dxPx), dyPx: finite(dyPx) };
}

function measureAll(stamps: StampSet): StampMoments {
  const { count } = stamps;
  const out: StampMoments = {
    moments: new Float64Array(7 * count).fill(NaN),
    dxPx: new Float64Array(count),
    dyPx: new Float64Array(count),
    flux: new Float64Array(count),
    snr: new Float64Array(count),
  };
  for (let star = 0; star < count; star++) measure(stamps, star, out);
  return out;
}

/** The stamp without background; pixels that are masked or of another colour take the mean of their neighbours. */
function filledStamp(stamps: StampSet, star: number): Float64Array {
  const side = stamps.sidePx;
  const first = star * side * side;
  const background = borderLevel(stamps, star);
  const filled = new Float64Array(side * side);
  for (let y = 0; y < side; y++)
    for (let x = 0; x < side; x++) {
      const at = y * side + x;
      if (isFitted(stamps, first + at)) {
        filled[at] = stamps.electrons[first + at] - background;
        continue;
      }
      for (const offsets of [CROSS, DIAGONAL]) {
        let sum = 0;
        let count = 0;
        for (const [dx, dy] of offsets) {
          const i = x + dx;
          const j = y + dy;
          if (i < 0 || j < 0 || i >= side || j >= side || !isFitted(stamps, first + j * side + i)) continue;
          sum += stamps.electrons[first + j * side + i] - background;
          count++;
        }
        if (count === 0) continue;
        filled[at] = sum / count;
        break;
      }
    }
  return filled;
}

const CROSS = [
  [1, 0],
  [-1, 0],
  [0, 1],
  [0, -1],
];
const DIAGONAL = [
  [1, 1],
  [-1, 1],
  [1, -1],
  [-1, -1],
];

function measure(stamps: StampSet, star: number, out: StampMoments): void {
  const side = stamps.sidePx;
  const middle = (side - 1) / 2;
  const data = filledStamp(stamps, star);
  let cx = stamps.xPx[star] - stamps.originXPx[star] - middle;
  let cy = stamps.yPx[star] - stamps.originYPx[star] - middle;
  let xx = 2.5;
  let yy = 2.5;
  let xy = 0;
  const largest = (side / 2.2) ** 2;
  const sums = new Float64Array(10);
  for (let iteration = 0; iteration < ITERATIONS; iteration++) {
    weighted(data, side, middle, cx, cy, xx, yy, xy, sums);
    const [sum, sx, sy, sxx, syy, sxy] = sums;
    if (!(sum > 0)) return;
    const mx = sx / sum;
    const my = sy / sum;
    cx += clamp(2 * mx, 1);
    cy += clamp(2 * my, 1);
    if (Math.hypot(cx, cy) > middle) return;
    // Deweighting by a matched Gaussian doubles the moments; half steps keep comets from running away.
    const nextXX = clampRange(2 * (sxx / sum - mx * mx), LEAST_VARIANCE, largest);
    const nextYY = clampRange(2 * (syy / sum - my * my), LEAST_VARIANCE, largest);
    const limit = 0.95 * Math.sqrt(nextXX * nextYY);
    const nextXY = clampRange(2 * (sxy / sum - mx * my), -limit, limit);
    const change = Math.abs(nextXX - xx) + Math.abs(nextYY - yy);
    xx = 0.3 * xx + 0.7 * nextXX;
    yy = 0.3 * yy + 0.7 * nextYY;
    xy = 0.3 * xy + 0.7 * nextXY;
    if (iteration > 4 && change < 2e-3 * (xx + yy)) break;
  }
  weighted(data, side, middle, cx, cy, xx, yy, xy, sums);
  const sum = sums[0];
  if (!(sum > 0)) return;
  const third = (at: number) => (8 * sums[at]) / sum;
  const [xxx, xxy, xyy, yyy] = [third(6), third(7), third(8), third(9)];
  out.moments.set([xx + yy, xx - yy, 2 * xy, xxx + xyy, xxy + yyy, xxx - 3 * xyy, 3 * xxy - yyy], 7 * star);
  out.dxPx[star] = cx;
  out.dyPx[star] = cy;
  const area = 4 * Math.PI * Math.sqrt(Math.max(xx * yy - xy * xy, 0.05));
  // A matched weight sees half of a Gaussian's flux.
  const flux = 2 * sum;
  out.flux[star] = flux;
  out.snr[star] = flux / Math.sqrt(flux + area * stamps.backgroundVariance[star]);
}

function weighted(
  data: Float64Array,
  side: number,
  middle: number,
  cx: number,
  cy: number,
  xx: number,
  yy: number,
  xy: number,
  sums: Float64Array,
): void {
  const determinant = xx * yy - xy * xy;
  const ixx = yy / determinant;
  const iyy = xx / determinant;
  const ixy = -xy / determinant;
  sums.fill(0);
  for (let row = 0; row < side; row++) {
    const y = row - middle - cy;
    for (let col = 0; col < side; col++) {
      const x = col - middle - cx;
      const q = ixx * x * x + 2 * ixy * x * y + iyy * y * y;
      if (q > 18) continue;
      const w = data[row * side + col] * Math.exp(-0.5 * q);
      sums[0] += w;
      sums[1] += w * x;
      sums[2] += w * y;
      sums[3] += w * x * x;
      sums[4] += w * y * y;
      sums[5] += w * x * y;
      sums[6] += w * x * x * x;
      sums[7] += w * x * x * y;
      sums[8] += w * x * y * y;
      sums[9] += w * y * y * y;
    }
  }
}

const clamp = (value: number, limit: number) => Math.max(-limit, Math.min(limit, value));
const clampRange = (value: number, low: number, high: number) => Math.max(low, Math.min(high, value));
