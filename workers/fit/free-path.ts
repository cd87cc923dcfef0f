import { P } from './parameters.ts';
import type { Plan } from './plan.ts';

/** Straight pieces of equal time that a free path is made of. */
export const LEGS = 4;

/** Vectors of the pieces, px: [x, y] each. */
export type Legs = [number, number][];

export const legsOf = (theta: ArrayLike<number>): Legs =>
  Array.from({ length: LEGS }, (_, i) => [theta[P.leg1X + 2 * i], theta[P.leg1X + 2 * i + 1]]);

/** How far along the piece i the pieces k have carried the image in the mean, less the mean over the exposure. */
const CARRIED = Array.from({ length: LEGS }, (_, i) =>
  Array.from({ length: LEGS }, (_, k) => (k < i ? 1 : k === i ? 0.5 : 0) - (LEGS - k - 0.5) / LEGS),
);

/** Middles of the pieces, px from the mean position of the image. */
const middles = (legs: Legs): Legs =>
  CARRIED.map(
    (row) => [0, 1].map((axis) => row.reduce((sum, w, k) => sum + w * legs[k][axis], 0)) as [number, number],
  );

/**
 * Transfer function of a free path over a plan's frequencies, [side of fx][fy][fx] as the factors are laid out, and
 * what its derivative by a piece's vector is per cycle of frequency along that axis.
 */
export interface FreePath {
  value: Float64Array;
  /** One table for each piece. */
  byLeg: Float64Array[];
}

/** Tables of [re, im] pairs. The image moves evenly along each piece: M = mean of sinc(f.s) exp(-2 pi i f.c). */
export function freePath(plan: Plan, legs: Legs, derive: boolean): FreePath {
  const { freqs, freqStride, step } = plan;
  const plane = freqs * freqStride;
  const value = new Float64Array(4 * plane);
  const byLeg = derive ? legs.map(() => new Float64Array(4 * plane)) : [];
  const centres = middles(legs);
  const [shareRe, shareIm] = [new Float64Array(LEGS), new Float64Array(LEGS)];
  for (let a = 0; a < freqs; a++)
    for (let side = 0; side < 2; side++)
      for (let b = side; b < freqs; b++) {
        const fx = (side ? -b : b) * step;
        const fy = a * step;
        const at = 2 * (side * plane + a * freqStride + b);
        for (let i = 0; i < LEGS; i++) {
          const x = Math.PI * (fx * legs[i][0] + fy * legs[i][1]);
          const near = Math.abs(x) < 1e-4;
          const sinc = near ? 1 - (x * x) / 6 : Math.sin(x) / x;
          const slope = Math.PI * (near ? -x / 3 : (Math.cos(x) - sinc) / x);
          const turn = -2 * Math.PI * (fx * centres[i][0] + fy * centres[i][1]);
          const [c, s] = [Math.cos(turn) / LEGS, Math.sin(turn) / LEGS];
          shareRe[i] = sinc * c;
          shareIm[i] = sinc * s;
          value[at] += shareRe[i];
          value[at + 1] += shareIm[i];
          if (!derive) continue;
          byLeg[i][at] += slope * c;
          byLeg[i][at + 1] += slope * s;
        }
        for (let k = 0; k < byLeg.length; k++)
          for (let i = 0; i < LEGS; i++) {
            byLeg[k][at] += 2 * Math.PI * CARRIED[i][k] * shareIm[i];
            byLeg[k][at + 1] -= 2 * Math.PI * CARRIED[i][k] * shareRe[i];
          }
      }
  return { value, byLeg };
}

/** Second moments of the image's place about its mean over the exposure, px^2. */
export function pathMoments(legs: Legs): { xx: number; xy: number; yy: number } {
  const centres = middles(legs);
  const sum = (a: 0 | 1, b: 0 | 1) =>
    legs.reduce((total, leg, i) => total + centres[i][a] * centres[i][b] + (leg[a] * leg[b]) / 12, 0) / LEGS;
  return { xx: sum(0, 0), xy: sum(0, 1), yy: sum(1, 1) };
}

/** Greatest distance between two corners of the path, px: how long the trail looks. */
export function pathExtentPx(legs: Legs): number {
  const corners: Legs = [[0, 0]];
  for (const [x, y] of legs) corners.push([corners.at(-1)![0] + x, corners.at(-1)![1] + y]);
  return Math.max(...corners.flatMap(([x, y]) => corners.map(([u, v]) => Math.hypot(x - u, y - v))));
}

/** Direction of the path's long axis, degrees. */
export function pathAxisDeg(legs: Legs): number {
  const { xx, xy, yy } = pathMoments(legs);
  return (Math.atan2(2 * xy, xx - yy) * 90) / Math.PI;
}
