import type { Leftover, StarUnderModel } from '../protocol/model.ts';
import type { StampSet } from '../protocol/stamps.ts';
import { commonResidual, regionMisfit } from './coherence.ts';
import { drawnWithout, fieldPlace } from './drawn-field.ts';
import type { FieldFit } from './field-fit.ts';
import { FieldFitter } from './levenberg.ts';
import type { FitState } from './field-system.ts';
import type { FitOptions } from './levenberg.ts';
import { P } from './parameters.ts';
import { startingPlaces, stampMoments } from './stamp-moments.ts';
import { InlineStarPool } from './star-pool.ts';
import type { Question, StarJob, StarResidual } from './star-pool.ts';

const CELLS = 3;
const LEAST_STARS = 4;
const ROUNDS = 6;

/** Stars of a frame with the field's parameters held: only flux, background and position are theirs. */
async function settle(fit: FieldFit, stamps: StampSet) {
  const pool = await InlineStarPool.create(stamps, fit.optics);
  const places = Array.from(stamps.xPx, (xPx, i) => fieldPlace(fit, { xPx, yPx: stamps.yPx[i] }));
  const fitter = new FieldFitter(
    pool,
    Float64Array.from(places, ({ xi }) => xi),
    Float64Array.from(places, ({ eta }) => eta),
  );
  const { theta, path } = drawnWithout(fit, []);
  const state: FitState = { theta, ...startingPlaces(stampMoments(stamps)) };
  const stars = Array.from({ length: stamps.count }, (_, i) => i);
  const options: FitOptions = {
    stars,
    fineness: 'final',
    iterations: 0,
    warmUp: ROUNDS,
    tolerance: 0,
    priors: new Map(),
  };
  const answers = await fitter.judge(state, { groups: new Set(fit.groups), path }, options);
  const question: Question = {
    theta,
    path,
    fineness: 'final',
    planBlurPx: Math.exp(theta[P.lnBlur]),
    wanted: null,
  };
  const jobs: StarJob[] = stars.map((star) => ({ star, dxPx: state.dxPx[star], dyPx: state.dyPx[star] }));
  return { pool, state, answers, question, jobs };
}

/** What the model leaves in common to the stars of each of 3 x 3 cells of the sensor. */
export async function leftovers(fit: FieldFit, stamps: StampSet): Promise<Leftover[]> {
  const { pool, question, jobs, answers } = await settle(fit, stamps);
  const misfit = answers.map(({ chi2, pixels }) => chi2 / pixels);
  const usual = [...misfit].sort((a, b) => a - b)[misfit.length >> 1] ?? 1;
  // Doubles and galaxies are no residual of the optics.
  const fair = jobs.filter(({ star }) => misfit[star] < Math.max(4 * usual, 3));
  const residuals = pool.residuals(question, fair);
  pool.close();
  const { widthPx, heightPx, sidePx } = stamps;
  const cells = Array.from({ length: CELLS * CELLS }, (): StarResidual[] => []);
  for (const residual of residuals) {
    const col = Math.min(CELLS - 1, Math.floor(((stamps.xPx[residual.star] + 0.5) / widthPx) * CELLS));
    const row = Math.min(CELLS - 1, Math.floor(((stamps.yPx[residual.star] + 0.5) / heightPx) * CELLS));
    cells[row * CELLS + col].push(residual);
  }
  return cells.map((stars, i) => {
    const known = stars.length >= LEAST_STARS;
    const { common, model } = commonResidual(stars, sidePx);
    const peak = Math.max(...model, 1e-12);
    return {
      col: i % CELLS,
      row: Math.floor(i / CELLS),
      stars: stars.length,
      coherence: known ? regionMisfit(stars, sidePx).uneven : null,
      sidePx,
      rest: Float32Array.from(common, (value) => value / peak),
    };
  });
}

/** One star (a set of one stamp) under the field's model. */
export async function starUnderModel(fit: FieldFit, stamp: StampSet): Promise<StarUnderModel> {
  const { pool, state, answers, question, jobs } = await settle(fit, stamp);
  const [{ flux, background, chi2, pixels }] = answers;
  const [{ model, rest }] = pool.residuals(question, jobs);
  pool.close();
  const { sidePx } = stamp;
  const middle = (sidePx - 1) / 2;
  const drawn = Float32Array.from(model, (value) => flux * value + background);
  const variance = drawn.map((value) => stamp.backgroundVariance[0] + Math.max(value - background, 0));
  // Errors of flux and background with the position held (weighted least squares of two columns).
  let [s, sv, svv] = [0, 0, 0];
  rest.forEach((value, i) => {
    if (Number.isNaN(value)) return;
    s += 1 / variance[i];
    sv += model[i] / variance[i];
    svv += model[i] ** 2 / variance[i];
  });
  const determinant = Math.max(s * svv - sv * sv, 1e-30);
  return {
    sidePx,
    originXPx: stamp.originXPx[0],
    originYPx: stamp.originYPx[0],
    electrons: stamp.electrons,
    model: drawn,
    pulls: Float32Array.from(rest, (value, i) => (flux * value) / Math.sqrt(variance[i])),
    xPx: stamp.originXPx[0] + middle + state.dxPx[0],
    yPx: stamp.originYPx[0] + middle + state.dyPx[0],
    flux: { value: flux, sigma: Math.sqrt(s / determinant) },
    background: { value: background, sigma: Math.sqrt(svv / determinant) },
    skySigma: Math.sqrt(stamp.backgroundVariance[0]),
    chi2PerDof: chi2 / Math.max(1, pixels - 4),
    pixels,
  };
}
