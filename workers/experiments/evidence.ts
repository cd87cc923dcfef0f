import type { FrameReport, Region, ShapeSummary } from '../protocol/report.ts';

/** A value with the variance of its error. */
export interface Known {
  value: number;
  variance: number;
}

/** What the judges read off a frame: sizes and shapes, of the whole sensor and of its nine cells. */
export interface Evidence {
  /** Per-axis variance of the stars, px². */
  width: Known;
  /** Quadrupole (Ixx - Iyy, 2 Ixy) / 2, px²: the length of the stars as variances, so that causes add. */
  q1: Known;
  q2: Known;
  exposureS: number | null;
  cells: CellEvidence[];
  report: FrameReport;
}

export interface CellEvidence {
  /** Middle of the cell in half widths and half heights from the centre, -1 to 1. */
  u: number;
  v: number;
  /** ... and in mm from the sensor's centre; null without the pixel size. */
  xMm: number | null;
  yMm: number | null;
  width: Known;
  q1: Known;
  q2: Known;
}

/**
 * Variance of a star from its half-flux diameter: HFD² / 8, that of a defocused disc (elementary); a star in air has HFD² / (8 ln 2).
 * The disc's is taken throughout, because only differences that defocus makes are used.
 */
const VARIANCE_PER_HFD2 = 1 / 8;

/** Null when the frame tells no sizes. */
export function evidenceOf(report: FrameReport): Evidence | null {
  const whole = shapeOf(report.sensor);
  if (report.fault || !report.frame || !whole) return null;
  const { widthPx, heightPx, pixelSizeUm, exposureS } = report.frame;
  const cells = report.regions.flatMap((region: Region): CellEvidence[] => {
    const shape = shapeOf(region);
    if (!shape) return [];
    const u = (2 * region.col + 1) / region.cols - 1;
    const v = (2 * region.row + 1) / region.rows - 1;
    const mm = (share: number, sizePx: number) =>
      pixelSizeUm ? (share * sizePx * pixelSizeUm) / 2000 : null;
    return [{ u, v, xMm: mm(u, widthPx), yMm: mm(v, heightPx), ...shape }];
  });
  return { ...whole, exposureS, cells, report };
}

function shapeOf(summary: ShapeSummary): { width: Known; q1: Known; q2: Known } | null {
  const size = summary.hfdPx ?? summary.fwhmPx;
  const { elongation, angleDeg } = summary;
  if (!size) return null;
  const value = VARIANCE_PER_HFD2 * size.value ** 2;
  const width = { value, variance: (2 * VARIANCE_PER_HFD2 * size.value * size.sigma) ** 2 };
  if (!elongation || !angleDeg)
    return { width, q1: { value: 0, variance: value ** 2 }, q2: { value: 0, variance: value ** 2 } };
  const e = distortionOf(elongation.value);
  const sigma = Math.max(0.002, Math.abs(distortionOf(elongation.value + elongation.sigma) - e));
  const turn = (2 * angleDeg.value * Math.PI) / 180;
  const part = (way: number): Known => ({ value: value * e * way, variance: (value * sigma) ** 2 });
  return { width, q1: part(Math.cos(turn)), q2: part(Math.sin(turn)) };
}

/** Distortion |e| of an elongation A/B: the inverse of sqrt((1 + e) / (1 - e)). */
export function distortionOf(elongation: number): number {
  const square = Math.max(1, elongation) ** 2;
  return (square - 1) / (square + 1);
}

/** Elongation A/B of a quadrupole and a width: sqrt((1 + e) / (1 - e)). */
export function elongationOfParts(q1: number, q2: number, width: number): number {
  const e = Math.min(0.95, Math.hypot(q1, q2) / Math.max(width, 1e-9));
  return Math.sqrt((1 + e) / (1 - e));
}
