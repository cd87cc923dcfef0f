import { invertSymmetric } from '../math/linear.ts';
import { median } from '../math/robust.ts';
import { INDEPENDENT_SHARE, type NoiseSample } from './pixel-noise.ts';

/** How many stored units an electron makes, as a frame tells of itself. */
export interface FrameGain {
  unitsPerElectron: number;
  /** Standard error of its natural logarithm. */
  lnSigma: number;
}

/** Slope of variance over light: stored units per electron. */
export interface Slope {
  value: number;
  sigma: number;
}

const FEWEST_SAMPLES = 100;
const GROUPS = 16;
const QUARTERS = 4;
const FEWEST_IN_GROUP = 20;
const ROUNDS = 6;
/** Squares beyond this many variances are cosmic rays and hot pixels; a Gaussian's others have 0.9733 of its variance. */
const CLIP = 9;
const CLIPPED_SHARE = 0.9733;
/** Median of chi² with one degree of freedom. */
const CHI2_MEDIAN = 0.4549364;
/** The misfit's share of a group's variance is known to about this part of itself. */
const MISFIT_DOUBT = 0.5;
/** What the six parameters of each star's profile, and the mean misfit, leave uncertain of the slope. */
const STARS_DOUBT = 0.1;
/** Pixels of one sensor differ in sensitivity by some half to one per cent (common practice, no source). */
const PIXEL_RESPONSE = 0.007;
/** Read noise of cameras for the sky, electrons: from the best CMOS to old CCDs (common practice, no source). */
const READ_NOISE = { least: 0.7, most: 20 };
/** A standard error of the logarithm above this (a factor of 1.65) is no knowledge. */
const TOLD_LN_SIGMA = 0.5;
const GRID = 240;

export const isTold = ({ lnSigma }: FrameGain): boolean => lnSigma < TOLD_LN_SIGMA;

/**
 * Photon noise makes the variance grow with the light, by one unit per electron: under stars (light above the sky and squares both over the sky's variance there), and over the frame where the sky is
 * uneven. Both are drawn to what cameras can be: a noise of at least one of the best camera's electrons, and no more
 * read noise than an old one's when the whole level were sky. Where nothing tells, the error spans those bounds.
 */
export function gainOf(
  stars: NoiseSample[],
  skySamples: NoiseSample[],
  { skyVariance, skyLevel }: { skyVariance: number; skyLevel: number },
): FrameGain {
  const slopes = [starSlope(stars), skySlope(skySamples, skyVariance)].filter((slope) => slope !== null);
  const most = Math.sqrt(skyVariance) / READ_NOISE.least;
  // u² read² + u level >= variance.
  const level = Math.max(skyLevel, 0);
  const read = READ_NOISE.most ** 2;
  const least = (Math.sqrt(level ** 2 + 4 * read * skyVariance) - level) / (2 * read);
  return withinBounds(doubted(slopes), least, most);
}

/** Mean and standard deviation of ln u, all values between the bounds alike likely before the slopes are looked at. */
function withinBounds(slopes: Slope[], least: number, most: number): FrameGain {
  const [low, high] = [Math.log(least), Math.log(most)];
  const grid = Array.from({ length: GRID }, (_, i) => low + ((i + 0.5) * (high - low)) / GRID);
  const chances = grid.map((ln) => slopes.reduce((sum, slope) => sum + logChance(slope, Math.exp(ln)), 0));
  const best = Math.max(...chances);
  let [total, first, second] = [0, 0, 0];
  grid.forEach((ln, i) => {
    const chance = Math.exp(chances[i] - best);
    total += chance;
    first += chance * ln;
    second += chance * ln * ln;
  });
  const mean = first / total;
  const step = (high - low) / GRID;
  const variance = Math.max(second / total - mean * mean, step ** 2 / 12);
  return { unitsPerElectron: Math.exp(mean), lnSigma: Math.sqrt(variance) };
}

/**
 * Were the slope larger than found, the scatter about it would have been larger as well: its error grows with the slope
 * that is asked about.
 */
function logChance({ value, sigma }: Slope, asked: number): number {
  const growth = Math.max(1, asked / Math.max(value, sigma));
  return -Math.log(growth) - ((asked - value) / (sigma * growth)) ** 2 / 2;
}

/** Slopes more than two standard errors apart are both believed less. */
function doubted(slopes: Slope[]): Slope[] {
  if (slopes.length < 2) return slopes;
  const [a, b] = slopes;
  const apart = Math.abs(a.value - b.value) / Math.hypot(a.sigma, b.sigma);
  return slopes.map(({ value, sigma }) => ({ value, sigma: sigma * Math.max(1, apart / 2) }));
}

function starSlope(stars: NoiseSample[]): Slope | null {
  const slope = slopeOf(stars, true);
  return slope && { value: slope.value, sigma: Math.hypot(slope.sigma, STARS_DOUBT * slope.value) };
}

/** From the sky. Uneven pixels add noise that grows as the square of the light: 2 p² of the sky's electrons to the slope. */
function skySlope(samples: NoiseSample[], skyVariance: number): Slope | null {
  const slope = slopeOf(samples, false);
  if (!slope) return null;
  const skyElectrons = skyVariance / Math.max(slope.value, slope.sigma) ** 2;
  const response = 2 * PIXEL_RESPONSE ** 2 * skyElectrons;
  return { value: slope.value, sigma: Math.hypot(slope.sigma, response * slope.value) };
}

interface Group {
  light: number;
  height: number;
  square: number;
  count: number;
}

/**
 * Weighted least squares of the groups' mean squares on their light: s + u light, and under stars what the profile
 * misses, which grows as the light squared in the core and as light times the star's height around it. Neither is below
 * zero. A group's weight is that of its expected variance; where the misfit rules, that is uncertain by half of it.
 */
function slopeOf(samples: NoiseSample[], misfitting: boolean): Slope | null {
  if (samples.length < FEWEST_SAMPLES) return null;
  const groups = misfitting ? starGroups(samples) : groupsOf(samples, GROUPS);
  const lights = groups.map(({ light }) => light);
  const scale = Math.max(...lights) - Math.min(...lights);
  if (!(scale > 0)) return null;
  const middle = misfitting ? 0 : median(lights);
  const rows = groups.map(({ light, height }) => {
    const x = (light - middle) / scale;
    return misfitting ? [1, x, x ** 2, (x * height) / scale] : [1, x];
  });
  const floor = Math.min(...groups.map(({ square }) => square)) / 2;
  const share = misfitting ? INDEPENDENT_SHARE : 1;
  let columns = rows[0].map((_, column) => column);
  let expected = groups.map(({ square }) => square);
  let misfit = rows.map(() => 0);
  let fit: { p: Float64Array; inverse: Float64Array } | null = null;
  let chi2 = 0;
  for (let round = 0; round < ROUNDS; round++) {
    const weights = groups.map(({ count }, i) => {
      const noise = (2 * expected[i] ** 2) / (count * share);
      return 1 / (noise + (MISFIT_DOUBT * misfit[i]) ** 2);
    });
    for (;;) {
      fit = leastSquares(rows, columns, groups, weights);
      if (!fit) return null;
      const below = columns.filter((column, at) => column > 1 && fit!.p[at] < 0);
      if (below.length === 0) break;
      columns = columns.filter((column) => column !== below[below.length - 1]);
    }
    const { p } = fit;
    misfit = rows.map((row) =>
      columns.reduce((sum, column, at) => sum + (column > 1 ? p[at] * row[column] : 0), 0),
    );
    expected = rows.map((row, i) => Math.max(p[0] + p[1] * row[1] + misfit[i], floor));
    chi2 = groups.reduce((sum, { square }, i) => sum + weights[i] * (square - expected[i]) ** 2, 0);
  }
  const scatter = Math.max(1, chi2 / Math.max(groups.length - columns.length, 1));
  const variance = fit!.inverse[columns.length + 1] * scatter;
  return { value: fit!.p[1] / scale, sigma: Math.sqrt(variance) / scale };
}

function leastSquares(rows: number[][], columns: number[], groups: Group[], weights: number[]) {
  const n = columns.length;
  const normal = new Float64Array(n * n);
  const right = new Float64Array(n);
  rows.forEach((row, i) =>
    columns.forEach((a, at) => {
      right[at] += weights[i] * row[a] * groups[i].square;
      columns.forEach((b, other) => (normal[at * n + other] += weights[i] * row[a] * row[b]));
    }),
  );
  const inverse = invertSymmetric(normal, n);
  if (!inverse) return null;
  const p = new Float64Array(n);
  for (let a = 0; a < n; a++) for (let b = 0; b < n; b++) p[a] += inverse[a * n + b] * right[b];
  return { p, inverse };
}

/** Groups by light within quarters by the stars' height. */
function starGroups(samples: NoiseSample[]): Group[] {
  const sorted = [...samples].sort((a, b) => a.height - b.height);
  const quarters = Array.from({ length: QUARTERS }, (_, i) =>
    sorted.slice(
      Math.floor((i * sorted.length) / QUARTERS),
      Math.floor(((i + 1) * sorted.length) / QUARTERS),
    ),
  );
  return quarters.flatMap((members) => groupsOf(members, GROUPS));
}

/** Samples sorted by light into groups of equal numbers, each with its mean light and clipped mean square. */
function groupsOf(samples: NoiseSample[], most: number): Group[] {
  const sorted = [...samples].sort((a, b) => a.light - b.light);
  const count = Math.max(3, Math.min(most, Math.floor(sorted.length / FEWEST_IN_GROUP)));
  return Array.from({ length: count }, (_, group) => {
    const from = Math.floor((group * sorted.length) / count);
    const members = sorted.slice(from, Math.floor(((group + 1) * sorted.length) / count));
    const mean = (pick: (sample: NoiseSample) => number) =>
      members.reduce((sum, sample) => sum + pick(sample), 0) / members.length;
    return {
      light: mean(({ light }) => light),
      height: mean(({ height }) => height),
      square: clippedMean(members.map(({ square }) => square)),
      count: members.length,
    };
  });
}

function clippedMean(squares: number[]): number {
  let mean = median(squares) / CHI2_MEDIAN;
  for (let round = 0; round < ROUNDS; round++) {
    let sum = 0;
    let count = 0;
    for (const square of squares) {
      if (square > CLIP * mean) continue;
      sum += square;
      count++;
    }
    if (count === 0) return mean;
    mean = sum / count / CLIPPED_SHARE;
  }
  return mean;
}
