import { invertSymmetric } from '../math/linear.ts';
import { commonScatter, HUBER } from '../math/robust.ts';
import { mapX, mapY, type Similarity } from './similarity.ts';
import type { StarPlaces } from './star-places.ts';

export interface SimilarityFit {
  mapping: Similarity;
  /** Of dx, dy: [xx, xy, yy], px². */
  shiftCovariance: [number, number, number];
  rotationSigmaRad: number;
  scaleSigma: number;
  /** Scatter of a coordinate beyond what the stars' own errors explain, px²: distortion, air, hidden blends. */
  scatter: number;
  rmsPx: number;
}

const ROUNDS = 8;

/**
 * Weighted least squares of m and d over pairs of stars [index in map, index in frame]. Each coordinate's variance is
 * that of both stars and the common scatter found with it; outliers count less by Huber's weights (Huber & Ronchetti
 * 2009). m and d are linear: x' = a x - b y + dx, y' = b x + a y + dy, y reversed before in a mirror image. Null for less
 * than two pairs or pairs on one spot.
 */
export function fitSimilarity(
  map: StarPlaces,
  frame: StarPlaces,
  pairs: readonly [number, number][],
  mirrored: boolean,
): SimilarityFit | null {
  const n = pairs.length;
  if (n < 2) return null;
  const sign = mirrored ? -1 : 1;
  const own = new Float64Array(2 * n);
  pairs.forEach(([i, j], p) => own.fill(map.variance[i] + frame.variance[j], 2 * p, 2 * p + 2));
  const residual = new Float64Array(2 * n);
  const weight = Float64Array.from(own, (variance) => 1 / variance);
  let scatter = 0;
  let mapping: Similarity | null = null;
  let covariance: Float64Array | null = null;
  for (let round = 0; round < ROUNDS; round++) {
    const normal = new Float64Array(16);
    const right = new Float64Array(4);
    for (let p = 0; p < n; p++) {
      const [i, j] = pairs[p];
      const [x, y] = [map.x[i], sign * map.y[i]];
      addRow(normal, right, [x, -y, 1, 0], frame.x[j], weight[2 * p]);
      addRow(normal, right, [y, x, 0, 1], frame.y[j], weight[2 * p + 1]);
    }
    covariance = invertSymmetric(normal, 4);
    if (!covariance) return null;
    const [mRe, mIm, dx, dy] = [0, 1, 2, 3].map((row) =>
      right.reduce((sum, value, col) => sum + covariance![4 * row + col] * value, 0),
    );
    mapping = { mRe, mIm, dx, dy, mirrored };
    pairs.forEach(([i, j], p) => {
      residual[2 * p] = frame.x[j] - mapX(mapping!, map.x[i], map.y[i]);
      residual[2 * p + 1] = frame.y[j] - mapY(mapping!, map.x[i], map.y[i]);
    });
    scatter = n > 2 ? commonScatter(residual, own, 0, 2 * n - 4) : 0;
    for (let k = 0; k < 2 * n; k++) {
      const variance = own[k] + scatter;
      const standard = Math.abs(residual[k]) / Math.sqrt(variance);
      weight[k] = (standard > HUBER ? HUBER / standard : 1) / variance;
    }
  }
  const { mRe, mIm } = mapping!;
  const c = covariance!;
  const square = mRe ** 2 + mIm ** 2;
  const along = (u: number, v: number) => Math.sqrt(u * u * c[0] + 2 * u * v * c[1] + v * v * c[5]);
  const length = Math.sqrt(square);
  return {
    mapping: mapping!,
    shiftCovariance: [c[10], c[11], c[15]],
    rotationSigmaRad: along(-mIm / square, mRe / square),
    scaleSigma: along(mRe / length, mIm / length),
    scatter,
    rmsPx: Math.sqrt(residual.reduce((sum, r) => sum + r * r, 0) / (2 * n)),
  };
}

function addRow(
  normal: Float64Array,
  right: Float64Array,
  row: number[],
  value: number,
  weight: number,
): void {
  for (let i = 0; i < 4; i++) {
    right[i] += weight * row[i] * value;
    for (let j = 0; j < 4; j++) normal[4 * i + j] += weight * row[i] * row[j];
  }
}
