import { median } from '../math/robust.ts';
import type { FocusOptions, FocusRunResult, FocusTilt } from '../protocol/focus-run.ts';
import type { Estimate } from '../protocol/report.ts';
import type { SeriesRecord } from '../protocol/series.ts';
import { focusAstigmatism } from './focus-astigmatism.ts';
import type { FocusFit, Prior } from './focus-fit.ts';
import { comaTable } from './focus-coma.ts';
import { waveFocusLaw, type FocusLaw } from './focus-law.ts';
import { P, type FocusModel } from './focus-model.ts';
import { focusOptics, type KnownOptics } from './focus-optics.ts';
import { focusPlaces } from './focus-places.ts';
import { focusSamples, type FocusData } from './focus-samples.ts';
import { centreCurve, compromise, sizesOf, without } from './focus-sizes.ts';
import { fitFromStarts } from './focus-start.ts';
import { settleSurface } from './focus-surface.ts';
import { focusTilt } from './focus-tilt.ts';
import { focusHeadline, focusNotes } from './focus-words.ts';

export type FocusRunAnswer = { ok: true; value: FocusRunResult } | { ok: false; sentence: string };

const FEWEST_POSITIONS = 3;
/** How well focal ratio and steps are usually known: relative error of the scale when both are told. */
const SCALE_SIGMA = 0.04;
/** Error of a scale by geometry: focal ratio as written, light's colour; and more when the obstruction is not known. */
const GEOMETRY_SIGMA = 0.02;
const OBSTRUCTION_SIGMA = 0.03;
/** Usual obstruction of a small reflector; a refractor must fit better by this (a log likelihood ratio of e³) to be taken for one. */
const REFLECTOR = 0.3;
const CLEARLY = 6;
/** A frame whose stars miss the fitted run by this many of their sigmas (median) is none of it. */
const MISFIT = 2.6;

/**
 * Focal surface from frames at several focus positions: z(x, y) = focus + tilt·(x, y) - curvature r²/2, z positive =
 * sensor behind the focal surface. All stars of all frames are fitted at once by a wave-optical law of half-flux diameter
 * against defocus; where coma misleads that, second moments tell the surface (focus-surface.ts). Steps become micrometres by
 * what was told (signed), or by geometry, then taken as positive.
 * Errors are standard errors with what the law is known to leave out.
 */
export function focusRun(records: readonly SeriesRecord[], options: FocusOptions = {}): FocusRunAnswer {
  const data = focusSamples(records, options);
  if (data.frames.length === 0)
    return refuse('None of the frames tells its focus position and has stars: type the positions in.');
  const told = focusOptics(records, options);
  const optics = told.obstructionKnown
    ? told
    : { ...told, obstruction: likeliestObstruction(data, told, options) };
  let fitted = fitData(data, optics, options);
  const kept = new Set(data.frames.map((_, f) => f));
  const leftOut = [...data.leftOut];
  let used = data;
  while (fitted) {
    const worst = worstFrame(used, fitted.fit);
    if (
      worst === null ||
      positionsOf(used).size <= FEWEST_POSITIONS + 1 ||
      kept.size <= 0.7 * data.frames.length
    )
      break;
    leftOut.push({
      record: used.frames[worst].record,
      why: 'its stars do not fit its focus position: moved, trailed or clouded',
    });
    kept.delete(worst);
    used = withoutFrame(used, worst);
    fitted = fitData(used, optics, options);
  }
  if (!fitted)
    return refuse(
      `Focus positions that differ are needed, at least ${FEWEST_POSITIONS} of them; better seven, evenly to both sides of focus.`,
    );
  return { ok: true, value: resultOf(used, leftOut, data.frames.length, fitted, optics, options) };
}

const refuse = (sentence: string): FocusRunAnswer => ({ ok: false, sentence });
const positionsOf = ({ frames }: FocusData) => new Set(frames.map(({ position }) => position));

interface Fitted {
  model: FocusModel;
  fit: FocusFit;
}

function fitData(data: FocusData, optics: KnownOptics, options: FocusOptions): Fitted | null {
  if (positionsOf(data).size < FEWEST_POSITIONS) return null;
  const model: FocusModel = {
    law: lawFor(data, optics),
    coma: comaTable(optics.obstruction),
    obstruction: optics.obstruction,
    positions: Float64Array.from(data.frames, (f) => f.position),
  };
  const told = options.focusUmPerStep;
  const scale: Prior | null =
    told && optics.known ? { value: Math.log(Math.abs(told)), sigma: SCALE_SIGMA } : null;
  return { model, fit: fitFromStarts(data, model, scale) };
}

/**
 * Where nobody told the obstruction the stars do, roughly: it changes how they grow and when they become rings.
 */
function likeliestObstruction(data: FocusData, optics: KnownOptics, options: FocusOptions): number {
  if (!optics.known) return optics.obstruction;
  const costOf = (obstruction: number) =>
    fitData(data, { ...optics, obstruction }, options)?.fit.cost ?? Infinity;
  return costOf(0) < costOf(REFLECTOR) - CLEARLY ? 0 : REFLECTOR;
}

/** Tabled as far as the largest stars of the run need. */
function lawFor(data: FocusData, { focalRatio, obstruction, pixelUm }: KnownOptics): FocusLaw {
  const largest = data.samples.hfdPx.reduce((most, size) => Math.max(most, size), 0);
  const mostUm = (1.2 * largest * pixelUm * focalRatio) / Math.sqrt((1 + obstruction ** 2) / 2);
  return waveFocusLaw({ focalRatio, obstruction, pixelUm }, mostUm);
}

/** The frame whose stars miss the run most, if they miss it clearly. */
function worstFrame(data: FocusData, fit: FocusFit): number | null {
  const { samples } = data;
  let worst: { frame: number; misfit: number } | null = null;
  data.frames.forEach((_, frame) => {
    const off: number[] = [];
    for (let i = 0; i < samples.count; i++)
      if (samples.frame[i] === frame) off.push(Math.abs(fit.residual[i]));
    const misfit = median(off);
    if (misfit > MISFIT && (!worst || misfit > worst.misfit)) worst = { frame, misfit };
  });
  return (worst as { frame: number } | null)?.frame ?? null;
}

function withoutFrame(data: FocusData, frame: number): FocusData {
  const { samples } = data;
  const members: number[] = [];
  for (let i = 0; i < samples.count; i++) if (samples.frame[i] !== frame) members.push(i);
  const pick = (column: Float64Array) => Float64Array.from(members, (i) => column[i]);
  return {
    ...data,
    frames: data.frames.filter((_, f) => f !== frame),
    samples: {
      count: members.length,
      frame: Uint16Array.from(members, (i) => samples.frame[i] - (samples.frame[i] > frame ? 1 : 0)),
      x: pick(samples.x),
      y: pick(samples.y),
      hfdPx: pick(samples.hfdPx),
      sigma: pick(samples.sigma),
      rmsPx: pick(samples.rmsPx),
      e1: pick(samples.e1),
      e2: pick(samples.e2),
      eSigma: pick(samples.eSigma),
      star: Uint16Array.from(members, (i) => samples.star[i]),
      stars: samples.stars,
    },
  };
}

function resultOf(
  data: FocusData,
  leftOut: FocusRunResult['leftOut'],
  frames: number,
  { model, fit }: Fitted,
  optics: KnownOptics,
  options: FocusOptions,
): FocusRunResult {
  const settled = settleSurface(model, fit, data.samples);
  const { theta, covariance } = settled;
  const n = theta.length;
  const sigma = (k: number) => Math.sqrt(covariance[k * n + k]);
  const byGeometry: Estimate | null = optics.known
    ? {
        value: Math.exp(theta[P.lnScale]),
        sigma:
          Math.exp(theta[P.lnScale]) *
          Math.hypot(sigma(P.lnScale), GEOMETRY_SIGMA, optics.obstructionKnown ? 0 : OBSTRUCTION_SIGMA),
      }
    : null;
  const told = options.focusUmPerStep || null;
  const umPerStep: Estimate | null = told ? { value: told, sigma: 0 } : byGeometry;
  const tilt: FocusTilt | null =
    umPerStep && optics.pixelKnown ? focusTilt(data, settled, umPerStep, optics.pixelUm) : null;
  const halfDiagonalM = (data.halfDiagonalPx * optics.pixelUm) / 1e6;
  // Steps per half-diagonal² to 1/mm and on to 1/m: µm / mm² = 1/m.
  const perM = umPerStep ? umPerStep.value / (1e6 * halfDiagonalM ** 2) : null;
  const curvature: Estimate | null =
    perM && optics.pixelKnown
      ? {
          value: theta[P.curvature] * perM,
          sigma:
            Math.abs(perM) *
            Math.hypot(sigma(P.curvature), (theta[P.curvature] * umPerStep!.sigma) / umPerStep!.value),
        }
      : null;
  const corner = { x: data.widthPx / 2 / data.halfDiagonalPx, y: data.heightPx / 2 / data.halfDiagonalPx };
  const best: Estimate = { value: theta[P.focus], sigma: sigma(P.focus) };
  const first = Math.min(...model.positions);
  const last = Math.max(...model.positions);
  const tiltUmPerMm = tilt ? tilt.vector : { x: null, y: null };
  const answer: Omit<FocusRunResult, 'headline' | 'notes'> = {
    report: { bestPosition: best, umPerStep, tiltUmPerMm, curvaturePerM: curvature },
    frames,
    used: data.frames.length,
    leftOut,
    outside: best.value < first || best.value > last,
    signTold: told !== null,
    umPerStepByGeometry: byGeometry,
    compromisePosition: { value: compromise(model, theta, corner), sigma: best.sigma },
    tilt,
    astigmatism: umPerStep ? focusAstigmatism(model, theta, data.samples, umPerStep.value) : null,
    places: focusPlaces(data, model, fit),
    curve: centreCurve(model, theta),
    sizes: {
      now: sizesOf(model, theta, corner),
      square: sizesOf(model, without(theta, ['tilt']), corner),
      squareAndFlat: sizesOf(model, without(theta, ['tilt', 'curvature']), corner),
    },
  };
  return { ...answer, headline: focusHeadline(answer), notes: focusNotes(answer) };
}
