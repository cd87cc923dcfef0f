import { median, robustMean } from '../math/robust.ts';
import { runningMedians } from '../math/select.ts';
import { axisAngleDeg, elongationOf } from '../math/shape.ts';
import { FLAG, NOT_FOR_SHAPE } from '../protocol/flags.ts';
import type { Estimate, Region, ShapeSummary } from '../protocol/report.ts';
import type { StarTable } from '../protocol/stars.ts';

/** Indices of the stars whose shape may be trusted. */
export function shapeStars(stars: StarTable): number[] {
  const indices: number[] = [];
  for (let i = 0; i < stars.count; i++) if (!(stars.flags[i] & NOT_FOR_SHAPE)) indices.push(i);
  return indices;
}

/** Robust means of the shapes of some stars; null where none has a value. */
export function summarise(stars: StarTable, indices: number[]): ShapeSummary {
  const pick = (column: ArrayLike<number>) => indices.map((i) => column[i]);
  const e1 = robustMean(pick(stars.e1), pick(stars.eSigma));
  const e2 = robustMean(pick(stars.e2), pick(stars.eSigma));
  const rings = indices.filter((i) => stars.flags[i] & FLAG.ring).length;
  const snr = pick(stars.snr);
  const [fwhmPx, hfdPx] = [pick(stars.fwhmPx), pick(stars.hfdPx)];
  return {
    // A width at half height of rings and stars mixed would describe neither.
    fwhmPx:
      rings * 2 > indices.length
        ? null
        : robustMean(fwhmPx, expectedSigmas(fwhmPx, pick(stars.fwhmSigmaPx), snr)),
    hfdPx: robustMean(hfdPx, expectedSigmas(hfdPx, pick(stars.hfdSigmaPx), snr)),
    ...(e1 && e2 ? elongationEstimate(e1, e2) : { elongation: null, angleDeg: null }),
  };
}

/** Stars of about the same signal to noise that tell the usual error of one of them. */
const PEERS = 9;

/**
 * The error that each width is expected to have: the usual width of all times the usual relative error of stars as
 * bright, kappa / SNR with kappa the median over the nearest in SNR. A star's own error follows its own width, so one
 * that noise made narrow would count for more than its equal that noise made wide, and the mean would lean to narrow:
 * by twice the square of the relative error, some 2 % at SNR 12.
 */
export function expectedSigmas(widthsPx: number[], sigmasPx: number[], snr: number[]): number[] {
  const order = snr
    .map((_, i) => i)
    .filter((i) => widthsPx[i] > 0 && sigmasPx[i] > 0)
    .sort((i, j) => snr[i] - snr[j]);
  const usualPx = median(order.map((i) => widthsPx[i]));
  const kappas = order.map((i) => (sigmasPx[i] / widthsPx[i]) * snr[i]);
  const expected = snr.map(() => NaN);
  const usualKappas = runningMedians(kappas, Math.min(PEERS, order.length));
  order.forEach((i, rank) => {
    const from = Math.max(0, Math.min(rank - (PEERS >> 1), order.length - PEERS));
    expected[i] = (usualPx * usualKappas[from]) / snr[i];
  });
  return expected;
}

/**
 * Mean distortion (e1, e2) as elongation A/B and axis. With |e| the length: A/B = sqrt((1 + |e|) / (1 - |e|)), so
 * d(A/B)/d|e| = 1 / ((1 - |e|)² (A/B)); the axis turns by half of the error across e.
 */
function elongationEstimate(e1: Estimate, e2: Estimate): { elongation: Estimate; angleDeg: Estimate } {
  const length = Math.min(Math.hypot(e1.value, e2.value), 0.98);
  const sigma = Math.hypot(e1.sigma, e2.sigma) / Math.SQRT2;
  const elongation = elongationOf(length);
  const angleSigma = length > 0 ? Math.min((sigma / length / 2) * (180 / Math.PI), 90) : 90;
  return {
    elongation: { value: elongation, sigma: sigma / ((1 - length) ** 2 * elongation) },
    angleDeg: { value: axisAngleDeg(e1.value, e2.value), sigma: angleSigma },
  };
}

/** The sensor cut into cols x rows equal cells, row by row, each with the means of its stars. */
export function gridRegions(
  stars: StarTable,
  widthPx: number,
  heightPx: number,
  cols: number,
  rows: number,
): Region[] {
  const members = Array.from({ length: cols * rows }, () => [] as number[]);
  for (const i of shapeStars(stars)) members[cellOf(stars, i, widthPx, heightPx, cols, rows)].push(i);
  return members.map((indices, cell) => ({
    col: cell % cols,
    row: Math.floor(cell / cols),
    cols,
    rows,
    stars: indices.length,
    ...summarise(stars, indices),
  }));
}

export function cellOf(
  stars: StarTable,
  index: number,
  widthPx: number,
  heightPx: number,
  cols: number,
  rows: number,
): number {
  const col = Math.floor(((stars.xPx[index] + 0.5) * cols) / widthPx);
  const row = Math.floor(((stars.yPx[index] + 0.5) * rows) / heightPx);
  const inside = (value: number, most: number) => Math.max(0, Math.min(value, most - 1));
  return inside(row, rows) * cols + inside(col, cols);
}

const STARS_PER_CELL = 6;
const MOST_CELLS = 13;

/** A grid of roughly square cells with some six stars each, odd by odd so that one cell is the centre; at least 3 x 3. */
export function fineGridSize(
  stars: number,
  widthPx: number,
  heightPx: number,
): { cols: number; rows: number } {
  const aspect = widthPx / heightPx;
  const odd = (value: number) => 2 * Math.floor(Math.max(3, Math.min(value, MOST_CELLS)) / 2 - 0.5) + 1;
  const cells = stars / STARS_PER_CELL;
  return { cols: odd(Math.sqrt(cells * aspect)), rows: odd(Math.sqrt(cells / aspect)) };
}
