import type { StampSet } from '../protocol/stamps.ts';
import { borderLevel, isFitted } from './stamp-pixels.ts';
import { NO_SMEAR } from './colour-spread.ts';
import type { Smear } from './colour-spread.ts';
import type { StampMoments } from './stamp-moments.ts';

/** Shape of the average star, from plain moments above a threshold: blind to where a weighted moment would lock on. */
export interface MeanStar {
  /** Where the mean light lies from the weighted centroid. */
  dxPx: number;
  dyPx: number;
  /** Direction of the long axis; variance along it less the variance across it; third moment along it. */
  angleRad: number;
  excess: number;
  skew: number;
  across: number;
}

/** Pixels fainter than this share of the peak are left out: their noise would rule the moments. */
const THRESHOLD = 0.04;
const STARS = 24;

/**
 * Average of the brightest of the given stars, each shifted to its weighted centroid (to the nearest pixel) and scaled
 * to its flux. Two halves of a jump both count, even where a Gaussian weight sits on one of them. `known`: variance that
 * is known from elsewhere and taken off.
 */
export function meanStar(
  stamps: StampSet,
  moments: StampMoments,
  stars: readonly number[],
  known: Smear = NO_SMEAR,
): MeanStar {
  const side = stamps.sidePx;
  const middle = (side - 1) / 2;
  const sum = new Float64Array(side * side);
  const weight = new Float64Array(side * side);
  const chosen = [...stars].sort((a, b) => moments.snr[b] - moments.snr[a]).slice(0, STARS);
  let restX = 0;
  let restY = 0;
  for (const star of chosen) {
    const shiftX = Math.round(moments.dxPx[star]);
    const shiftY = Math.round(moments.dyPx[star]);
    restX += (moments.dxPx[star] - shiftX) / chosen.length;
    restY += (moments.dyPx[star] - shiftY) / chosen.length;
    const background = borderLevel(stamps, star);
    const first = star * side * side;
    for (let y = 0; y < side; y++)
      for (let x = 0; x < side; x++) {
        const toX = x - shiftX;
        const toY = y - shiftY;
        if (toX < 0 || toY < 0 || toX >= side || toY >= side) continue;
        const at = first + y * side + x;
        if (!isFitted(stamps, at)) continue;
        sum[toY * side + toX] += (stamps.electrons[at] - background) / moments.flux[star];
        weight[toY * side + toX] += 1;
      }
  }
  const mean = sum.map((value, i) => (weight[i] > 0 ? value / weight[i] : 0));
  const floor = THRESHOLD * Math.max(...mean);
  let total = 0;
  let cx = 0;
  let cy = 0;
  const each = (visit: (value: number, x: number, y: number) => void) => {
    for (let y = 0; y < side; y++)
      for (let x = 0; x < side; x++) {
        const value = mean[y * side + x] - floor;
        if (value > 0) visit(value, x - middle, y - middle);
      }
  };
  each((value, x, y) => {
    total += value;
    cx += value * x;
    cy += value * y;
  });
  cx /= total;
  cy /= total;
  let xx = -known.xx;
  let yy = -known.yy;
  let xy = -known.xy;
  each((value, x, y) => {
    xx += (value * (x - cx) ** 2) / total;
    yy += (value * (y - cy) ** 2) / total;
    xy += (value * (x - cx) * (y - cy)) / total;
  });
  const angleRad = Math.atan2(2 * xy, xx - yy) / 2;
  const c = Math.cos(angleRad);
  const s = Math.sin(angleRad);
  let skew = 0;
  each((value, x, y) => (skew += (value * ((x - cx) * c + (y - cy) * s) ** 3) / total));
  const spread = Math.hypot(xx - yy, 2 * xy);
  return {
    dxPx: cx - restX,
    dyPx: cy - restY,
    angleRad,
    excess: spread,
    skew,
    across: (xx + yy - spread) / 2,
  };
}
