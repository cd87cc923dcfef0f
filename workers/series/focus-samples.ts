import { FLAG } from '../protocol/flags.ts';
import type { FocusOptions } from '../protocol/focus-run.ts';
import type { SeriesRecord } from '../protocol/series.ts';
import { median } from '../math/robust.ts';

/** Sizes of stars at several focus positions, one entry a star and frame. Places in half-diagonals from the centre. */
export interface FocusSamples {
  count: number;
  frame: Uint16Array;
  x: Float64Array;
  y: Float64Array;
  hfdPx: Float64Array;
  /** Relative standard error of the size. */
  sigma: Float64Array;
  /** Per-axis rms width from the second moments; NaN where it is not known. */
  rmsPx: Float64Array;
  e1: Float64Array;
  e2: Float64Array;
  eSigma: Float64Array;
  /** Number of the star, the same in all frames; the field is taken to stay within a few pixels or stars count as new. */
  star: Uint16Array;
  stars: number;
}

/** A frame that takes part. */
export interface FocusFrame {
  record: number;
  position: number;
  /** Median half-flux diameter. */
  hfdPx: number;
  stars: number;
}

export interface FocusData {
  samples: FocusSamples;
  frames: FocusFrame[];
  halfDiagonalPx: number;
  widthPx: number;
  heightPx: number;
  leftOut: { record: number; why: string }[];
}

const UNUSABLE =
  FLAG.saturated | FLAG.blended | FLAG.edge | FLAG.extended | FLAG.streak | FLAG.sharp | FLAG.unfitted;
const LEAST_SNR = 12;
const FEWEST_STARS = 3;
/** The same star in two frames lies within this distance. */
const SAME_STAR_PX = 8;
/** What a size is uncertain by at least, relative: the unevenness of pixels and what a law leaves out. */
const LEAST_SIGMA = 0.004;

/** Focus position of each record: told, or what the file says. */
export const positionOf = (record: SeriesRecord, index: number, options: FocusOptions): number | null =>
  options.positions?.[index] ?? record.meta.focusPosition;

/** The usable stars of the frames that tell their focus position. */
export function focusSamples(records: readonly SeriesRecord[], options: FocusOptions): FocusData {
  const leftOut: FocusData['leftOut'] = [];
  const frames: FocusFrame[] = [];
  const rows: number[][] = [];
  const size = commonSize(records);
  const halfDiagonalPx = Math.hypot(size.widthPx, size.heightPx) / 2;
  const known: { x: number; y: number; star: number }[] = [];
  let stars = 0;
  records.forEach((record, index) => {
    const position = positionOf(record, index, options);
    const facts = record.report.frame;
    const drop = (why: string) => leftOut.push({ record: index, why });
    if (record.report.fault) return drop(record.report.fault.message);
    if (position === null || !Number.isFinite(position)) return drop('its focus position is not known');
    if (!facts || facts.widthPx !== size.widthPx || facts.heightPx !== size.heightPx)
      return drop('its picture has another size than the others');
    const usable = usableStars(record);
    if (usable.length < FEWEST_STARS) return drop('too few stars could be measured on it');
    const frame = frames.length;
    const table = record.stars;
    const seen = new Set<number>();
    for (const i of usable) {
      const near = known.find(
        (each) =>
          !seen.has(each.star) && Math.hypot(each.x - table.xPx[i], each.y - table.yPx[i]) < SAME_STAR_PX,
      );
      const star = near ? near.star : stars++;
      if (near) Object.assign(near, { x: table.xPx[i], y: table.yPx[i] });
      else known.push({ x: table.xPx[i], y: table.yPx[i], star });
      seen.add(star);
      rows.push([
        frame,
        (table.xPx[i] - (size.widthPx - 1) / 2) / halfDiagonalPx,
        (table.yPx[i] - (size.heightPx - 1) / 2) / halfDiagonalPx,
        table.hfdPx[i],
        Math.hypot(table.hfdSigmaPx[i] / table.hfdPx[i], LEAST_SIGMA),
        table.e1[i],
        table.e2[i],
        table.eSigma[i],
        star,
        table.rmsPx[i],
      ]);
    }
    frames.push({
      record: index,
      position,
      hfdPx: median(usable.map((i) => table.hfdPx[i])),
      stars: usable.length,
    });
  });
  const column = (k: number) => Float64Array.from(rows, (row) => row[k]);
  const samples: FocusSamples = {
    count: rows.length,
    frame: Uint16Array.from(column(0)),
    x: column(1),
    y: column(2),
    hfdPx: column(3),
    sigma: column(4),
    e1: column(5),
    e2: column(6),
    eSigma: column(7),
    star: Uint16Array.from(column(8)),
    stars,
    rmsPx: column(9),
  };
  return { samples, frames, halfDiagonalPx, ...size, leftOut };
}

function usableStars({ stars }: SeriesRecord): number[] {
  const usable: number[] = [];
  for (let i = 0; i < stars.count; i++) {
    const relative = stars.hfdSigmaPx[i] / stars.hfdPx[i];
    if (stars.flags[i] & UNUSABLE || !(stars.snr[i] >= LEAST_SNR)) continue;
    if (stars.hfdPx[i] > 0 && relative < 0.5) usable.push(i);
  }
  return usable;
}

/** The size that most frames have. */
function commonSize(records: readonly SeriesRecord[]): { widthPx: number; heightPx: number } {
  const counts = new Map<string, number>();
  for (const { report } of records)
    if (report.frame) {
      const key = `${report.frame.widthPx} ${report.frame.heightPx}`;
      counts.set(key, (counts.get(key) ?? 0) + 1);
    }
  const [most] = [...counts].sort((p, q) => q[1] - p[1]);
  const [widthPx, heightPx] = most ? most[0].split(' ').map(Number) : [1, 1];
  return { widthPx, heightPx };
}

const FEWEST_POSITIONS = 3;
/** Sizes that differ by less than this over the positions tell no focus. */
const LEAST_CHANGE = 1.15;

/**
 * Whether these frames are a focus run: at least three focus positions, a new one every few frames (a night that was
 * refocused now and then is none), and stars whose sizes follow.
 */
export function isFocusRun(records: readonly SeriesRecord[], options: FocusOptions = {}): boolean {
  const { frames } = focusSamples(records, options);
  const positions = new Set(frames.map(({ position }) => position));
  if (positions.size < FEWEST_POSITIONS || 4 * positions.size < frames.length) return false;
  const sizes = frames.map(({ hfdPx }) => hfdPx);
  return Math.max(...sizes) > LEAST_CHANGE * Math.min(...sizes);
}
