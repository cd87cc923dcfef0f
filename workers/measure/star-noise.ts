import { logMoments, type GainPrior } from './gain-belief.ts';

/** One pixel of a fitted star, stored units. */
export interface LitPixel {
  /** Light above the sky by the profile, and its share of the profile's height. */
  light: number;
  heightShare: number;
  /** Squared residual over (1 - leverage): what noise alone would leave without a fit. */
  square: number;
}

/** Pixels alike in their place on the star and in their light, and the variance that they show. */
interface Group {
  light: number;
  sky: number;
  variance: number;
  count: number;
}

/** A star's pixels fall into belts by their share of its height: within each the misfit is one share of the light. */
const BELTS = [0.5, 0.2, 0.07, 0.02];
const MOST_GROUPS = 6;
const LEAST_PER_GROUP = 24;
/** The largest tenth of the squares is left out, for cosmic rays; what a Gaussian leaves of its variance then. */
const TRIM = 0.9;
const TRIMMED_VARIANCE = 0.62301;
/** Relative variance of that estimate times the number of squares: by simulation, 2 without trimming. */
const TRIMMED_NOISE = 2.6;
/** Squared misfit as a share of the squared light: none, or anything from a thousandth to all of it, evenly by logarithm. */
const MISFITS = [0, ...Array.from({ length: 28 }, (_, i) => (0.001 * 1000 ** (i / 27)) ** 2)];
/** A misfit is no fixed share of the light: its square changes over the field, and from star to star, by about so much. */
const MISFIT_ERROR = 0.8;
/** It need not grow quite with the square of the light either: in trimmed squares the worst stars count less. */
const MISFIT_POWERS = [1.3, 1.65, 2];
/** Of the logarithm: what misfits of other kinds do, seen on simulated fields of all sorts (`bench -- gain`). */
const SYSTEMATIC = 0.12;
/** How well the sky's own variance under a star is known. */
const SKY_ERROR = 0.04;

/**
 * Noise against light under the stars, as in the photon transfer curve (Janesick 2007, Photon Transfer, ch. 5; EMVA 1288
 * release 4.0, sect. 2.2 and 6.6): variance = sky + u light + (m light)², u stored units per electron and m the misfit of the
 * profile in a belt. A belt's pixels of bright and faint stars tell u and m apart; m has no value that is believed beforehand.
 */
export class StarNoise {
  private readonly belts: Lit[][] = BELTS.map(() => []);

  /** `units`: about the gain, to lay pixels of different noise side by side. */
  constructor(private readonly units: number) {}

  addStar(pixels: LitPixel[], skyVariance: number): void {
    for (const { light, heightShare, square } of pixels) {
      const belt = BELTS.findIndex((least) => heightShare >= least);
      if (belt >= 0) this.belts[belt].push({ light, sky: skyVariance, square });
    }
  }

  /** Logarithm of the likelihood of each gain of the prior's grid, flattened by what no number of pixels averages away. */
  logLikelihood(prior: GainPrior): Float64Array {
    const { logUnits } = prior.grid;
    const result = new Float64Array(logUnits.length);
    for (const belt of this.belts) {
      const groups = groupsOf(belt, this.units);
      if (groups.length > 0)
        logUnits.forEach((logU, i) => (result[i] += overMisfits(groups, Math.exp(logU))));
    }
    const { sigma } = logMoments(prior, result);
    const trust = sigma ** 2 / (sigma ** 2 + SYSTEMATIC ** 2);
    return result.map((value) => trust * value);
  }
}

interface Lit {
  light: number;
  sky: number;
  square: number;
}

function groupsOf(belt: Lit[], units: number): Group[] {
  const count = Math.min(MOST_GROUPS, Math.floor(belt.length / LEAST_PER_GROUP));
  const sorted = [...belt].sort((a, b) => a.light / a.sky - b.light / b.sky);
  return Array.from({ length: count }, (_, group) => {
    const members = sorted.slice(
      Math.floor((group * sorted.length) / count),
      Math.floor(((group + 1) * sorted.length) / count),
    );
    const mean = (of: (member: Lit) => number) =>
      members.reduce((sum, member) => sum + of(member), 0) / members.length;
    const about = ({ light, sky }: Lit) => sky + units * light;
    const kept = members.map((member) => member.square / about(member)).sort((a, b) => a - b);
    const used = Math.floor(TRIM * kept.length);
    const ratio = kept.slice(0, used).reduce((sum, square) => sum + square, 0) / used / TRIMMED_VARIANCE;
    return {
      light: mean(({ light }) => light),
      sky: mean(({ sky }) => sky),
      variance: ratio * mean(about),
      count: members.length,
    };
  });
}

function overMisfits(groups: Group[], units: number): number {
  const brightest = Math.max(...groups.map(({ light }) => light));
  const logs = MISFITS.flatMap((misfit) =>
    MISFIT_POWERS.map((power) =>
      groups.reduce((sum, { light, sky, variance, count }) => {
        const missed = misfit * brightest ** 2 * (light / brightest) ** power;
        const expected = sky + units * light + missed;
        const unsure = Math.hypot(SKY_ERROR * sky, MISFIT_ERROR * missed) / expected;
        const spread2 = TRIMMED_NOISE / count + unsure ** 2;
        return sum - 0.5 * (Math.log(variance / expected) ** 2 / spread2 + Math.log(spread2));
      }, 0),
    ),
  );
  const top = Math.max(...logs);
  return top + Math.log(logs.reduce((sum, value) => sum + Math.exp(value - top), 0) / logs.length);
}
