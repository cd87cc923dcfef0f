import { invertSymmetric } from '../math/linear.ts';
import { median } from '../math/robust.ts';
import type { NoiseSample } from './pixel-noise.ts';

/** How many stored units an electron makes, as a frame tells of itself. */
export interface FrameGain {
  unitsPerElectron: number;
  /** Standard error of its natural logarithm. */
  lnSigma: number;
}

/** What masks of one kind say of the stars. */
export interface StarNoise {
  samples: NoiseSample[];
  independentShare: number;
}

/** Slope of variance over light: stored units per electron. */
export interface Slope {
  value: number;
  sigma: number;
  /** Of the groups about the line. */
  chi2PerFreedom: number;
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
/** The profile describes the stars where the groups scatter no more than this about the line: 64 of them to 0.18. */
const MOST_CHI2 = 1.4;
const GRID = 240;

export const isTold = ({ lnSigma }: FrameGain): boolean => lnSigma < TOLD_LN_SIGMA;

/**
 * Photon noise makes the variance grow with the light, by one unit per electron: under stars (light above the sky and squares both over the sky's variance there), and over the frame where the sky is
 * uneven. Pixel by pixel there are more values, between neighbours less misfit: the first count where they fit. Both are drawn to what cameras can be: a noise of at least one of the best camera's electrons, and no more
 * read noise than an old one's when the whole level were sky. Where nothing tells, the error spans those bounds.
 */
export function gainOf(
  plain: StarNoise,
  fine: StarNoise,
  skySamples: NoiseSample[],
  { skyVariance, skyLevel }: { skyVariance: number; skyLevel: number },
): FrameGain {
  const ofPixels = starSlope(plain);
  const described = ofPixels && ofPixels.chi2PerFreedom < MOST_CHI2 ? ofPixels : null;
  const ofNeighbours = starSlope(fine);
  const slopes = [
    described && !(ofNeighbours && ofNeighbours.sigma < described.sigma) ? described : ofNeighbours,
    skySlope(skySamples, skyVariance),
  ].filter((slope) => slope !== null);
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
  return slopes.map((slope) => ({ ...slope, sigma: slope.sigma * Math.max(1, apart / 2) }));
}

function starSlope({ samples, independentShare }: StarNoise): Slope | null {
  const slope = slopeOf(samples, true, independentShare);
  return slope && { ...slope, sigma: Math.hypot(slope.sigma, STARS_DOUBT * slope.value) };
}

/** From the sky. Uneven pixels add noise that grows as the square of the light: 2 p² of the sky's electrons to the slope. */
function skySlope(samples: NoiseSample[], skyVariance: number): Slope | null {
  const slope = slopeOf(samples, false, 1);
  if (!slope) return null;
  const skyElectrons = skyVariance / Math.max(slope.value, slope.sigma) ** 2;
  const response = 2 * PIXEL_RESPONSE ** 2 * skyElectrons;
  return { ...slope, sigma: Math.hypot(slope.sigma, response * slope.value) };
}

/**
 * Weighted least squares of the squares on their light: s + u light, and under stars what the profile misses, which
 * grows as the light squared in the core and as light times the star's height around it. Neither is below zero. A
 * sample's weight is that of its expected variance; what the misfit adds is uncertain by half of it for a whole group of
 * like samples.
 */
function slopeOf(samples: NoiseSample[], misfitting: boolean, share: number): Slope | null {
  if (samples.length < FEWEST_SAMPLES) return null;
  const scale = samples.reduce((most, { light }) => Math.max(most, Math.abs(light)), 0);
  const middle = misfitting ? 0 : median(samples.map(({ light }) => light));
  const rows = samples.map(({ light, height }) => {
    const x = (light - middle) / scale;
    return misfitting ? [1, x, x ** 2, (x * height) / scale] : [1, x];
  });
  const groups = misfitting ? starGroups(samples) : groupsOf(samples, Array.from(samples.keys()));
  const expected = new Float64Array(samples.length);
  for (const group of groups) {
    const square = clippedMean(group.map((i) => samples[i].square));
    for (const i of group) expected[i] = square;
  }
  const floor = Math.min(...expected) / 2;
  const misfit = new Float64Array(samples.length);
  const perGroup = samples.length / groups.length;
  let columns = rows[0].map((_, column) => column);
  let fit: { p: Float64Array; inverse: Float64Array } | null = null;
  for (let round = 0; round < ROUNDS; round++) {
    const weights = samples.map(({ square }, i) =>
      square > CLIP * expected[i]
        ? 0
        : 1 / ((2 * expected[i] ** 2) / share + perGroup * (MISFIT_DOUBT * misfit[i]) ** 2),
    );
    for (;;) {
      fit = leastSquares(rows, columns, samples, weights);
      if (!fit) return null;
      const below = columns.filter((column, at) => column > 1 && fit!.p[at] < 0);
      if (below.length === 0) break;
      columns = columns.filter((column) => column !== below[below.length - 1]);
    }
    const { p } = fit;
    rows.forEach((row, i) => {
      misfit[i] = columns.reduce((sum, column, at) => sum + (column > 1 ? p[at] * row[column] : 0), 0);
      expected[i] = Math.max(p[0] + p[1] * row[1] + misfit[i], floor);
    });
  }
  const chi2 = groups.reduce((sum, group) => sum + groupChi2(group, samples, expected, misfit, share), 0);
  const chi2PerFreedom = chi2 / Math.max(groups.length - columns.length, 1);
  const variance = fit!.inverse[columns.length + 1] * Math.max(1, chi2PerFreedom);
  return { value: fit!.p[1] / scale, sigma: Math.sqrt(variance) / scale, chi2PerFreedom };
}

/** How far the mean square of a group, over what is expected, is from 1. */
function groupChi2(
  group: number[],
  samples: NoiseSample[],
  expected: Float64Array,
  misfit: Float64Array,
  share: number,
): number {
  const off = clippedMean(group.map((i) => samples[i].square / expected[i])) - 1;
  const doubt = group.reduce((sum, i) => sum + (MISFIT_DOUBT * misfit[i]) / expected[i], 0) / group.length;
  return off ** 2 / (2 / (group.length * share) + doubt ** 2);
}

/** The squares of those that were not clipped are made good for the rest. */
function leastSquares(rows: number[][], columns: number[], samples: NoiseSample[], weights: number[]) {
  const n = columns.length;
  const normal = new Float64Array(n * n);
  const right = new Float64Array(n);
  rows.forEach((row, i) => {
    if (weights[i] === 0) return;
    for (let a = 0; a < n; a++) {
      const weighted = weights[i] * row[columns[a]];
      right[a] += (weighted * samples[i].square) / CLIPPED_SHARE;
      for (let b = 0; b < n; b++) normal[a * n + b] += weighted * row[columns[b]];
    }
  });
  const inverse = invertSymmetric(normal, n);
  if (!inverse) return null;
  const p = new Float64Array(n);
  for (let a = 0; a < n; a++) for (let b = 0; b < n; b++) p[a] += inverse[a * n + b] * right[b];
  return { p, inverse };
}

/** Groups by light within quarters by the stars' height: numbers of samples. */
function starGroups(samples: NoiseSample[]): number[][] {
  const sorted = Array.from(samples.keys()).sort((a, b) => samples[a].height - samples[b].height);
  return parts(sorted, QUARTERS).flatMap((members) => groupsOf(samples, members));
}

/** The members sorted by light into groups of equal numbers. */
function groupsOf(samples: NoiseSample[], members: number[]): number[][] {
  const sorted = [...members].sort((a, b) => samples[a].light - samples[b].light);
  return parts(sorted, Math.max(3, Math.min(GROUPS, Math.floor(sorted.length / FEWEST_IN_GROUP))));
}

const parts = (list: number[], count: number): number[][] =>
  Array.from({ length: count }, (_, i) =>
    list.slice(Math.floor((i * list.length) / count), Math.floor(((i + 1) * list.length) / count)),
  );

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
