import { NOT_FOR_SHAPE } from '../../workers/protocol/flags.ts';
import type { StarTable } from '../../workers/protocol/stars.ts';

/** Mean comet-shaped asymmetry of the stars in one cell, with its standard error per axis. */
export interface CometCell {
  col: number;
  row: number;
  stars: number;
  x: number;
  y: number;
  sigma: number;
}

const FEWEST = 3;

/**
 * Medians of the third moments over a grid of the sensor. The median of n normal values has the standard error
 * 1.2533 sigma / sqrt(n) (sqrt(pi / 2); Kendall & Stuart). sigma is the scatter of single stars about the median of
 * their cell, from all cells together: three stars alone know their own scatter badly. A star's own part in the median
 * makes that scatter too small by sqrt((n - 1) / n). Cells with fewer than three usable stars are left out.
 */
export function cometCells(
  stars: StarTable,
  widthPx: number,
  heightPx: number,
  cols: number,
  rows: number,
): CometCell[] {
  const members = Array.from({ length: cols * rows }, (): number[] => []);
  for (let i = 0; i < stars.count; i++) {
    if (stars.flags[i] & NOT_FOR_SHAPE || !Number.isFinite(stars.cometX[i] + stars.cometY[i])) continue;
    const col = cellOf(stars.xPx[i], widthPx, cols);
    members[cellOf(stars.yPx[i], heightPx, rows) * cols + col].push(i);
  }
  const deviations: number[] = [];
  const cells = members.flatMap((inside, index) => {
    const n = inside.length;
    if (n < FEWEST) return [];
    const x = median(inside.map((i) => stars.cometX[i]));
    const y = median(inside.map((i) => stars.cometY[i]));
    const grown = Math.sqrt(n / (n - 1));
    for (const i of inside)
      deviations.push(grown * Math.abs(stars.cometX[i] - x), grown * Math.abs(stars.cometY[i] - y));
    return [{ col: index % cols, row: Math.floor(index / cols), stars: n, x, y }];
  });
  const single = 1.4826 * (deviations.length ? median(deviations) : 0);
  return cells.map((cell) => ({ ...cell, sigma: (1.2533 * single) / Math.sqrt(cell.stars) }));
}

/** Pixel i covers i - 0.5 to i + 0.5, and the cells share the sensor evenly. */
const cellOf = (positionPx: number, sizePx: number, cells: number): number =>
  Math.min(cells - 1, Math.max(0, Math.floor(((positionPx + 0.5) / sizePx) * cells)));

function median(values: number[]): number {
  const sorted = [...values].sort((a, b) => a - b);
  const middle = sorted.length >> 1;
  return sorted.length % 2 ? sorted[middle] : (sorted[middle - 1] + sorted[middle]) / 2;
}
