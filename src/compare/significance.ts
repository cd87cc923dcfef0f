/** Chance that noise alone makes a normal deviate at least this large, either way: erfc(|z| / sqrt 2). */
export function chanceOf(z: number): number {
  // erfc to 1.2e-7 of itself by its own expansion would be more than is asked: Abramowitz & Stegun 7.1.26, |error| < 1.5e-7.
  const x = Math.abs(z) / Math.SQRT2;
  const t = 1 / (1 + 0.3275911 * x);
  const polynomial =
    t * (0.254829592 + t * (-0.284496736 + t * (1.421413741 + t * (-1.453152027 + t * 1.061405429))));
  return Math.min(1, polynomial * Math.exp(-x * x));
}

/** Overall chance to call a change where there is none, all rows together. */
const ALL_TOGETHER = 0.05;

/**
 * Which of many chances count, so that the chance of even one false alarm among all stays below 5 % however they depend
 * on each other: Holm's step-down rule (S. Holm 1979, Scandinavian Journal of Statistics 6, 65). Null is not tested.
 */
export function holm(chances: (number | null)[], overall = ALL_TOGETHER): boolean[] {
  const order = chances.flatMap((chance, at) => (chance === null ? [] : [{ chance, at }]));
  order.sort((a, b) => a.chance - b.chance);
  const counts = chances.map(() => false);
  for (const [rank, { chance, at }] of order.entries()) {
    if (chance > overall / (order.length - rank)) break;
    counts[at] = true;
  }
  return counts;
}
