import { median } from '../math/robust.ts';
import type { Estimate } from '../protocol/report.ts';

/** Factors of the half-height width that a profile does not tell. */
export interface WidthRatio {
  /** The mean profile as the pixels hold it over its closed form: exact. */
  pixel: number;
  /** With the stars' mean residuals over without: as well known as they. */
  residual: Estimate;
}

/** With fewer cells that have a ratio of their own the frame's stands for all. */
export const FEWEST_CELLS = 4;
/** Differences of the cells so many standard deviations of chi² beyond its mean are more than chance. */
const MOST_BY_CHANCE = 2;

/** What is within a ratio's own noise is left uncorrected. */
function trusted({ value, sigma }: Estimate): Estimate {
  const trust = value === 1 ? 0 : Math.max(0, 1 - sigma ** 2 / (value - 1) ** 2);
  return { value: 1 + (value - 1) * trust, sigma };
}

/** The ratio of each cell, the frame's, and whether all cells have the frame's. */
interface Together {
  ratios: Estimate[];
  overall: number;
  alike: boolean;
}

/** Ratios of all cells; `whole` is the frame's where too few cells have stars of their own. */
export function allTogether(cells: (WidthRatio | null)[], whole: WidthRatio | null): Together {
  const pixels = [whole, ...cells].flatMap((ratio) => ratio?.pixel ?? []);
  const usual = whole?.pixel ?? (pixels.length > 0 ? median(pixels) : 1);
  const residuals = cells.map((cell) => (cell && cell.residual.sigma < Infinity ? cell.residual : null));
  const { spread, overall } = spreadOf(residuals, whole?.residual ?? { value: 1, sigma: 0 });
  const drawn = drawTogether(residuals, overall, spread);
  const ratios = drawn.map(({ value, sigma }, i) => {
    const pixel = cells[i]?.pixel ?? usual;
    return { value: value * pixel, sigma: sigma * pixel };
  });
  return { ratios, overall: overall.value, alike: spread === 0 };
}

/**
 * Variance of what cells truly differ by, beyond their noise (DerSimonian & Laird 1986, Controlled Clinical Trials 7, 177;
 * none where noise alone makes as much now and then), and the ratio of all: their mean, `other` where there are too few.
 */
function spreadOf(cells: (Estimate | null)[], other: Estimate): { spread: number; overall: Estimate } {
  const known = cells.filter((cell) => cell !== null);
  if (known.length < FEWEST_CELLS) return { spread: 0, overall: trusted(other) };
  const alone = meanOf(known, 0);
  const q = known.reduce((sum, { value, sigma }) => sum + ((value - alone.value) / sigma) ** 2, 0);
  const free = known.length - 1;
  const weights = known.map(({ sigma }) => sigma ** -2);
  const total = weights.reduce((sum, weight) => sum + weight, 0);
  const scale = total - weights.reduce((sum, weight) => sum + weight ** 2, 0) / total;
  const spread = q > free + MOST_BY_CHANCE * Math.sqrt(2 * free) ? (q - free) / scale : 0;
  return { spread, overall: trusted(meanOf(known, spread)) };
}

/**
 * Empirical Bayes: each cell is drawn to the overall ratio by the share of its noise in the sum of noise and spread
 * (James & Stein 1961). Cells without a ratio take the overall one.
 */
function drawTogether(cells: (Estimate | null)[], overall: Estimate, spread: number): Estimate[] {
  return cells.map((cell) => {
    if (!cell) return { value: overall.value, sigma: Math.hypot(overall.sigma, Math.sqrt(spread)) };
    const noise = cell.sigma ** 2;
    const share = spread / (spread + noise);
    return {
      value: overall.value + share * (cell.value - overall.value),
      sigma: Math.sqrt(share * noise + (1 - share) * overall.sigma ** 2),
    };
  });
}

/** Mean of estimates that truly differ by a variance `spread`. */
function meanOf(estimates: Estimate[], spread: number): Estimate {
  let [sum, total] = [0, 0];
  for (const { value, sigma } of estimates) {
    const weight = 1 / (sigma ** 2 + spread);
    sum += weight * value;
    total += weight;
  }
  return { value: sum / total, sigma: Math.sqrt(1 / total) };
}
