import { failure, success } from '../protocol/faults.ts';
import type { Outcome } from '../protocol/faults.ts';
import type { Rig } from '../protocol/rig.ts';
import type { StampSet } from '../protocol/stamps.ts';
import { chooseOptics } from './choose-optics.ts';
import type { OpticsFacts } from './choose-optics.ts';
import { trailOfColour } from './colour-trail.ts';
import { commonMisfit } from './coherence.ts';
import type { CommonMisfit } from './coherence.ts';
import { fieldCovariance } from './covariance.ts';
import { measureDispersion } from './dispersion.ts';
import { COST_PER_PARAMETER } from './eliminate.ts';
import type { FieldFit, Rival } from './field-fit.ts';
import { noticeableShift, smearOf, withoutSmear } from './colour-spread.ts';
import { fieldPositions, racingOrder } from './field-stars.ts';
import { widthsOf } from './field-widths.ts';
import { FieldFitter } from './levenberg.ts';
import type { FitOptions, FitResult } from './levenberg.ts';
import { meanStar } from './mean-star.ts';
import { findObstruction } from './obstruction.ts';
import type { Optics } from './optics.ts';
import { P } from './parameters.ts';
import { findRivals } from './rivals.ts';
import { medianMisfit, search } from './search.ts';
import { settleSign } from './sign.ts';
import { simplify } from './simplify.ts';
import type { Simplified } from './simplify.ts';
import { stampMoments } from './stamp-moments.ts';
import { InlineStarPool } from './star-pool.ts';
import type { StarPool, StarResidual } from './star-pool.ts';
import { unseenSigma } from './unseen.ts';
import { micrometresPerPixel } from './wavefront.ts';

/** Fewer stars than this say too little about a field. */
export const LEAST_STARS = 8;
const MOMENT_STARS = 48;
const FINAL_STARS = 80;
/** Error of the model as a share of a pixel's signal, in the pixels' variances. */
export const MODEL_ERROR = 0.02;
/** Spherical aberration of ordinary optics, a ninth of a wave in this coefficient: more of it is something else. */
const LIKELY_SPHERICAL_UM = 0.06;

export type StarPoolMaker = (stamps: StampSet, optics: Optics) => Promise<StarPool>;
/** How far the fit is, 0 to 1, and what it is doing. */
export type FitProgress = (done: number, doing: 'searching' | 'simplifying' | 'finishing') => void;

/**
 * Fits the physics of a whole field to the stamps of its stars. Answers with a fault when there are too few stars;
 * rejects with an AbortError when `signal` fires.
 */
export async function fitField(
  stamps: StampSet,
  facts: OpticsFacts,
  rig: Rig,
  makePool: StarPoolMaker,
  onProgress: FitProgress = () => {},
  signal?: AbortSignal,
): Promise<Outcome<FieldFit>> {
  const chosen = chooseOptics(facts, rig);
  const moments = stampMoments(stamps);
  const field = fieldPositions(stamps);
  const order = racingOrder(moments, field);
  if (order.length < LEAST_STARS)
    return failure(
      'too-few-stars',
      `Only ${order.length} clean stars can be fitted and ${LEAST_STARS} are needed: expose longer, or point at a richer field.`,
    );
  const colourShiftPx = noticeableShift(measureDispersion(stamps, order, moments.moments), moments, order);
  let optics = colourShiftPx ? { ...chosen.optics, colourShiftPx } : chosen.optics;
  const smear = smearOf(colourShiftPx);
  const priors = opticsPriors(optics);
  const pool = await makePool(stamps, optics);
  try {
    const fitter = new FieldFitter(pool, field.xi, field.eta);
    const racing = order.slice(0, MOMENT_STARS);
    const outcome = await search({
      fitter,
      order,
      moments: {
        xi: Float64Array.from(racing, (star) => field.xi[star]),
        eta: Float64Array.from(racing, (star) => field.eta[star]),
        moments: withoutSmear(moments, racing, smear),
      },
      meanStar: meanStar(stamps, moments, racing, smear),
      coloured: colourShiftPx !== null,
      start: moments,
      obstruction: optics.obstruction,
      aspect: stamps.widthPx / stamps.heightPx,
      priors,
      typicalSnr: [...moments.snr].sort((a, b) => a - b)[moments.snr.length >> 1],
      signal,
      report: (done) => onProgress(0.7 * done, 'searching'),
    });

    const options: FitOptions = {
      stars: outcome.stars,
      fineness: 'search',
      iterations: 8,
      warmUp: 1,
      tolerance: 0.5,
      priors,
      signal,
    };
    const seen = chosen.known.obstruction
      ? null
      : await findObstruction(pool, fitter, outcome.candidates[0], optics, options);
    if (seen) optics = seen.optics;
    // The last word: exact wings, more stars, variances from the model that was chosen.
    const finish = async (found: Simplified): Promise<Finished> => {
      const { stars, misfit } = found;
      const best = trailOfColour(found.best, optics);
      onProgress(0.85, 'simplifying');
      const finalOptions: FitOptions = {
        ...options,
        stars: stars.slice(0, FINAL_STARS),
        fineness: 'final',
        tolerance: 0.1,
      };
      await fitter.freeze(best, { ...finalOptions, stars }, MODEL_ERROR);
      const last = await fitter.fit(best.state, best.shape, finalOptions);
      const final = await fitter.withCurvature(last, finalOptions);
      onProgress(0.93, 'finishing');
      const frame = { optics, widthPx: stamps.widthPx, heightPx: stamps.heightPx };
      const rivals = await findRivals(fitter, final, options, stars, misfit, frame);
      return { ...found, final, finalOptions, rivals, plain: best === found.best };
    };
    // A rival that explains the stars better is what the search should have found; what it had found becomes the rival.
    const fromRival = async (rival: Rival, { final: beaten, full }: Finished): Promise<Simplified> => {
      const start = { ...beaten.state, theta: Float64Array.from(rival.theta) };
      const shape = { groups: new Set(rival.groups), path: rival.path };
      const refitted = await fitter.fit(start, shape, options);
      const groups = [...beaten.shape.groups];
      const old = { groups, path: beaten.shape.path, theta: [...beaten.state.theta], atLeast: false };
      const simplified = await simplify(fitter, [refitted], order, options);
      return { ...simplified, full, contested: [{ ...old, gap: -rival.gap }] };
    };
    let finished = await finish(await simplify(fitter, outcome.candidates, order, options));
    const better = finished.rivals.find(({ gap, atLeast }) => !atLeast && gap < -COST_PER_PARAMETER);
    // What went over to the colours costs more than the trail that it looks like, and is right all the same.
    if (better && finished.plain) finished = await finish(await fromRival(better, finished));
    const { full, forecast, stars, contested, final, finalOptions, rivals } = finished;
    const dispersionPx = measureDispersion(stamps, finalOptions.stars, moments.moments);
    const misfits = await misfitOf(stamps, optics, field, final, finalOptions);
    const covariance = fieldCovariance(final, optics, misfits.whole);
    const sign = settleSign(final.state.theta, covariance, final.shape.groups);
    const fit: FieldFit = {
      optics,
      known: {
        focalRatio: chosen.known.focalRatio,
        pixelSize: chosen.known.pixelSize,
        obstruction: chosen.known.obstruction ? 'given' : seen?.fitted ? 'fitted' : 'assumed',
      },
      focalLengthMm: chosen.focalLengthMm,
      widthPx: stamps.widthPx,
      heightPx: stamps.heightPx,
      groups: [...final.shape.groups],
      path: final.shape.path,
      theta: [...sign.theta],
      focusSignKnown: sign.known,
      covariance: [...sign.covariance],
      droppedSigma: unseenSigma(full, final, forecast),
      chi2PerDof: medianMisfit(final),
      stars: finalOptions.stars.length,
      rejected: order.length - stars.length,
      coherence: misfits.uneven,
      commonMisfit: misfits.whole,
      dispersionPx,
      rivals: [...rivals, ...contested].sort((a, b) => a.gap - b.gap),
      ...(await widthsOf(final, optics, stamps, dispersionPx)),
      effort: fitter.effort,
      warnings: chosen.warnings,
    };
    onProgress(1, 'finishing');
    return success(fit);
  } finally {
    pool.close();
  }
}

export const opticsPriors = (optics: Optics): FitOptions['priors'] =>
  new Map([
    [P.spherical, { centre: 0, sigma: LIKELY_SPHERICAL_UM / micrometresPerPixel('spherical', optics) }],
  ]);

/** What the stars leave in common under a model. */
export async function misfitOf(
  stamps: StampSet,
  optics: Optics,
  { xi, eta }: { xi: Float64Array; eta: Float64Array },
  result: FitResult,
  options: FitOptions,
): Promise<CommonMisfit> {
  return commonMisfit(await residualsOf(stamps, optics, result, options), xi, eta, stamps.sidePx);
}

/** What a model leaves of each of its stars. */
export async function residualsOf(
  stamps: StampSet,
  optics: Optics,
  { state, shape }: FitResult,
  { stars, fineness }: FitOptions,
): Promise<StarResidual[]> {
  const own = await InlineStarPool.create(stamps, optics);
  const question = {
    theta: state.theta,
    path: shape.path,
    fineness,
    planBlurPx: Math.exp(state.theta[P.lnBlur]),
    wanted: null,
  };
  const jobs = stars.map((star) => ({ star, dxPx: state.dxPx[star], dyPx: state.dyPx[star] }));
  const residuals = own.residuals(question, jobs);
  own.close();
  return residuals;
}

interface Finished extends Simplified {
  final: FitResult;
  finalOptions: FitOptions;
  rivals: Rival[];
  /** False where a trail went over to the colours. */
  plain: boolean;
}
