/** Logarithm of stored units per electron, in even steps: what each kind of evidence speaks about. */
export interface GainGrid {
  logUnits: Float64Array;
}

/** What is believed before the frame's noise is asked: all gains that a camera may have, and how likely each is (logarithm). */
export interface GainPrior {
  grid: GainGrid;
  logPrior: Float64Array;
}

/** What is believed of the gain: stored units per electron, and the standard error of its logarithm. */
export interface GainBelief {
  /** The mean, which is what expected variances of light need. */
  unitsPerElectron: number;
  logSigma: number;
}

/** Nodes lie a twenty-fifth apart: finer than any frame can tell. */
const STEP = 0.04;

/**
 * What every camera keeps to (common practice, no source): a read noise between 0.6 and 20 electrons, a sky whose noise is
 * that of a full well at most.
 */
const READ_NOISE = { least: 0.6, most: 20 };
const MOST_NOISE_ELECTRONS = 316;
/**
 * Electrons that a converter's step stands for: 5 in a small well read with 12 bit, a twentieth at the highest
 * amplification. And the noise of the sky in electrons: a few for short exposures, a hundred for long ones in a city. Both
 * from memory of data sheets and of exposures, wide on purpose: they only count where the frame tells nothing.
 */
const PER_STEP = { median: 0.6, logSigma: 1.1 };
const SKY_NOISE = { median: 8, logSigma: 1.3 };

export interface SkyFacts {
  /** Stored units squared. */
  variance: number;
  /** Above the stored value of 0 ADU, which is as high as the light can be: an offset is part of it. */
  level: number;
  /** Step of the stored values; 0 when there is none. */
  quantum: number;
  /** Whether the steps are a converter's: those of a developed picture of 8 bit are not. */
  converter: boolean;
}

/**
 * A sky of variance V and level L holds V = (r u)² + u S with r the read noise in electrons, S <= L the light in stored
 * units: u lies between the root for the largest r and all of L being light, and sqrt(V) over the least r.
 */
export function priorOf({ variance, level, quantum, converter }: SkyFacts): GainPrior {
  const sigma = Math.sqrt(variance);
  const most2 = READ_NOISE.most ** 2;
  const light = Math.max(level, 0);
  const least = (-light + Math.sqrt(light ** 2 + 4 * most2 * variance)) / (2 * most2);
  const from = Math.log(Math.max(least, sigma / MOST_NOISE_ELECTRONS));
  const to = Math.max(Math.log(sigma / READ_NOISE.least), from + STEP);
  const count = Math.ceil((to - from) / STEP) + 1;
  const logUnits = Float64Array.from({ length: count }, (_, i) => from + (i * (to - from)) / (count - 1));
  const bell = (off: number, width: number) => -0.5 * (off / width) ** 2;
  const logPrior = logUnits.map((logU) => {
    const skyNoise = Math.log(sigma) - logU - Math.log(SKY_NOISE.median);
    const perStep = converter && quantum > 0 ? Math.log(quantum) - logU - Math.log(PER_STEP.median) : 0;
    return bell(skyNoise, SKY_NOISE.logSigma) + bell(perStep, PER_STEP.logSigma);
  });
  return { grid: { logUnits }, logPrior };
}

/**
 * Joins independent kinds of evidence with what was believed before. Where two of them contradict each other by more than
 * their errors, something is not as assumed (a frame that was flattened, colours amplified apart), and the error grows to
 * half their distance. Evidence that presses against the end of what cameras can be speaks of no camera's raw noise.
 */
export function joinEvidence(prior: GainPrior, evidence: Float64Array[]): GainBelief {
  const sum = new Float64Array(prior.logPrior.length);
  for (const each of evidence) each.forEach((value, i) => (sum[i] += value));
  const { mean, sigma } = logMoments(prior, sum);
  const { logUnits } = prior.grid;
  const pressed = Math.min(mean - logUnits[0], logUnits[logUnits.length - 1] - mean) < AT_THE_END;
  let logSigma = sigma;
  const alone = evidence.map((each) => logMoments(prior, each));
  for (const one of alone)
    for (const other of alone) {
      const apart = Math.abs(one.mean - other.mean);
      if (apart > CONTRADICTION * Math.hypot(one.sigma, other.sigma))
        logSigma = Math.max(logSigma, apart / 2);
    }
  const unitsPerElectron = Math.exp(mean + logSigma ** 2 / 2);
  return { unitsPerElectron, logSigma: pressed ? Math.max(logSigma, PRESSED) : logSigma };
}

const CONTRADICTION = 2.5;
/** So near to the grid's end, in logarithms, and the error then. */
const AT_THE_END = 0.15;
const PRESSED = 1;

/** Mean and standard deviation of the logarithm of units per electron, under what was believed and one kind of evidence. */
export function logMoments(
  { grid: { logUnits }, logPrior }: GainPrior,
  evidence: Float64Array,
): { mean: number; sigma: number } {
  const logChance = logPrior.map((value, i) => value + evidence[i]);
  const top = logChance.reduce((most, value) => Math.max(most, value), -Infinity);
  let [total, first, second] = [0, 0, 0];
  logChance.forEach((value, i) => {
    const chance = Math.exp(value - top);
    total += chance;
    first += chance * logUnits[i];
    second += chance * logUnits[i] ** 2;
  });
  const mean = first / total;
  const step = logUnits.length > 1 ? logUnits[1] - logUnits[0] : STEP;
  return { mean, sigma: Math.sqrt(Math.max(second / total - mean ** 2, 0) + step ** 2 / 12) };
}
