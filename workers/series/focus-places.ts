import { median } from '../math/robust.ts';
import type { FocusPlace } from '../protocol/focus-run.ts';
import { robustMean } from '../math/robust.ts';
import { defocusAt, P, predict, type FocusModel } from './focus-model.ts';
import type { FocusFit } from './focus-fit.ts';
import type { FocusData } from './focus-samples.ts';
import { cellOf, CELLS } from './focus-start.ts';

const FEWEST_SIZES = 3;

/**
 * Best focus of each of the nine cells by its own stars: the position that suits them when all else is as the whole run
 * has it. What the fitted surface leaves out shows here.
 */
export function focusPlaces(data: FocusData, model: FocusModel, fit: FocusFit): FocusPlace[] {
  const { samples, frames, halfDiagonalPx } = data;
  const n = fit.theta.length;
  const { value, gradient } = predict(model, fit.theta, samples, true);
  const places: FocusPlace[] = [];
  for (let cell = 0; cell < CELLS * CELLS; cell++) {
    const [col, row] = [cell % CELLS, Math.floor(cell / CELLS)];
    const members: number[] = [];
    for (let i = 0; i < samples.count; i++) {
      const at = cellOf(data, samples.x[i], samples.y[i]);
      if (at.col === col && at.row === row) members.push(i);
    }
    if (members.length < FEWEST_SIZES) continue;
    let [weight, pull] = [0, 0];
    for (const i of members) {
      const slope = gradient![i * n + P.focus];
      const off = Math.log(samples.hfdPx[i]) - value[i];
      const variance = samples.sigma[i] ** 2 + fit.scatter ** 2;
      const trust = 1 / (1 + (off * off) / variance / 6) / variance;
      weight += trust * slope * slope;
      pull += trust * slope * off;
    }
    const x = median(members.map((i) => samples.x[i]));
    const y = median(members.map((i) => samples.y[i]));
    const best = fit.theta[P.focus] - defocusAt(fit.theta, fit.theta[P.focus], x, y);
    places.push({
      col,
      row,
      xPx: x * halfDiagonalPx,
      yPx: y * halfDiagonalPx,
      stars: new Set(members.map((i) => samples.star[i])).size,
      bestPosition: {
        value: best + (weight > 0 ? pull / weight : 0),
        sigma: weight > 0 ? weight ** -0.5 : Infinity,
      },
      sizes: frames.flatMap(({ position }, f) => {
        const here = members.filter((i) => samples.frame[i] === f);
        const hfdPx = robustMean(
          here.map((i) => samples.hfdPx[i]),
          here.map((i) => samples.hfdPx[i] * samples.sigma[i]),
        );
        return hfdPx ? [{ position, hfdPx }] : [];
      }),
    });
  }
  return places;
}
