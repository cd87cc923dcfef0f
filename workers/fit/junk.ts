import type { StarAnswer } from './star-solve.ts';

/**
 * Stars that no clean star's image explains (galaxies, doubles, cosmic rays): chi squared per degree of freedom far
 * above the others' under the best model. While the fit is still poor the limit is looser.
 */
export function junkStars(answers: readonly StarAnswer[], final: boolean): Set<number> {
  const misfit = (answer: StarAnswer) => answer.chi2 / Math.max(answer.pixels - 4, 1);
  const sorted = answers.map(misfit).sort((a, b) => a - b);
  const median = sorted[sorted.length >> 1] ?? 1;
  const limit = final ? Math.max(2.5 * median, 2) : Math.max(4 * median, 3);
  return new Set(answers.filter((answer) => misfit(answer) > limit).map((answer) => answer.star));
}
