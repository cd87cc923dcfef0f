import type { Judgement } from '../protocol/experiment.ts';
import type { Cause, FrameReport } from '../protocol/report.ts';

export type Odds = Partial<Record<Cause, number>>;

/**
 * Chances before: the verdict's confidence for its cause; the rest goes to those named beside it by the decider, else to
 * the frame's other causes by their share of the corners, or to the experiment's usual rival where there is none.
 */
export function priorOf(
  { verdict, causes }: FrameReport,
  mustHave: readonly Cause[] = [],
  usualRival?: Cause,
): Odds {
  const odds: Odds = {};
  if (!verdict) {
    for (const cause of mustHave) odds[cause] = 1 / mustHave.length;
    return odds;
  }
  const first = verdict.cause;
  const rivals = (verdict.decider?.between ?? []).filter((cause) => cause !== first);
  const others = rivals.length
    ? rivals
    : (causes ?? [])
        .map(({ cause }) => cause)
        .filter((cause) => cause !== first)
        .slice(0, 2);
  const beside = [...new Set([...others, ...mustHave.filter((cause) => cause !== first)])];
  if (beside.length === 0 && usualRival) beside.push(usualRival);
  const confidence = Math.min(0.98, Math.max(0.02, verdict.confidence));
  odds[first] = beside.length ? confidence : 1;
  for (const cause of beside) odds[cause] = (1 - confidence) / beside.length;
  return odds;
}

/** However well a cause fits, the unforeseen remains: no frame moves the odds by more than this factor. */
const MOST_RATIO = 300;

/** Bayes' rule over logarithms of likelihoods, kept from being surer than any one frame can make. */
export function posterior(
  prior: Odds,
  lnLikelihood: (cause: Cause) => number,
): { after: Odds; ratio: number } {
  const causes = Object.keys(prior) as Cause[];
  const ln = new Map(causes.map((cause) => [cause, lnLikelihood(cause)]));
  const best = Math.max(...ln.values());
  let total = 0;
  const after: Odds = {};
  for (const cause of causes) {
    const likelihood = Math.max(Math.exp(ln.get(cause)! - best), 1 / MOST_RATIO);
    after[cause] = prior[cause]! * likelihood;
    total += after[cause]!;
  }
  for (const cause of causes) after[cause]! /= total;
  const leader = leading(after);
  const others = causes.filter((cause) => cause !== leader).map((cause) => ln.get(cause)!);
  const ratio = others.length ? Math.min(MOST_RATIO, Math.exp(ln.get(leader)! - Math.max(...others))) : 1;
  return { after, ratio };
}

export const leading = (odds: Odds): Cause =>
  (Object.entries(odds) as [Cause, number][]).reduce((best, each) => (each[1] > best[1] ? each : best))[0];

/** ln of a Gaussian's density. */
export const lnGauss = (off: number, variance: number): number =>
  -(off * off) / (2 * variance) - Math.log(variance) / 2;

/** ln of a sum of weighted likelihoods given as logarithms. */
export function lnMix(parts: readonly [weight: number, ln: number][]): number {
  const most = Math.max(...parts.map(([, ln]) => ln));
  return most + Math.log(parts.reduce((sum, [weight, ln]) => sum + weight * Math.exp(ln - most), 0));
}

const NAMES: Record<Cause, string> = {
  coma: 'coma',
  collimation: 'the collimation',
  tilt: 'a tilted sensor',
  curvature: 'a curved field',
  astigmatism: 'astigmatism',
  pinching: 'pinched optics',
  spherical: 'spherical aberration',
  focus: 'the focus',
  trailing: 'tracking',
  rotation: 'a turning field',
  seeing: 'the air',
  dispersion: 'the air’s colour spread',
  clean: 'nothing worth fixing',
};
export const nameOf = (cause: Cause): string => NAMES[cause];

const percent = (share: number): string =>
  share > 0.99 ? 'more than 99 %' : share < 0.01 ? 'less than 1 %' : `${Math.round(100 * share)} %`;

/** What a likelihood ratio is worth in words (a scale of odds in the manner of Jeffreys; the steps are our own). */
export function strength(ratio: number): string {
  if (ratio > 100) return 'settles it';
  if (ratio > 20) return 'speaks very clearly';
  if (ratio > 6) return 'speaks clearly';
  if (ratio > 2.2) return 'leans';
  return 'does not decide';
}

export function judged(
  experiment: Judgement['experiment'],
  prior: Odds,
  lnLikelihood: (cause: Cause) => number,
  reasons: string[],
): Judgement {
  const { after, ratio } = posterior(prior, lnLikelihood);
  const leader = leading(after);
  const verb = strength(ratio);
  const for_ = `${nameOf(leader)}, from ${percent(prior[leader]!)} to ${percent(after[leader]!)}`;
  const sentence =
    verb === 'does not decide'
      ? `The experiment does not decide: ${nameOf(leader)} stays the likeliest with ${percent(after[leader]!)}.`
      : verb === 'settles it'
        ? `The experiment settles it: ${for_}.`
        : `The experiment ${verb} for ${for_}.`.replace('leans for', 'leans towards');
  return { experiment, before: prior, after, likelihoodRatio: ratio, sentence, reasons, void: null };
}

/** The experiment cannot be judged: nothing is learnt. */
export const voided = (experiment: Judgement['experiment'], prior: Odds, why: string): Judgement => ({
  experiment,
  before: prior,
  after: prior,
  likelihoodRatio: 1,
  sentence: why,
  reasons: [],
  void: why,
});
