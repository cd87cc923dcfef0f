import { FLAG } from '../protocol/flags.ts';
import { median, robustMean } from '../math/robust.ts';
import { axisAngleDeg, elongationOf } from '../math/shape.ts';
import type { Estimate } from '../protocol/report.ts';
import type { RecordStars, Registration, SeriesRecord, ShapePrediction } from '../protocol/series.ts';
import { placeAt, type Motion } from './motion-model.ts';

/**
 * Elongation that the fitted path foretells for each exposure, against the one seen. A path adds the second moments
 * of its places (a straight trail of length L: L²/12 along itself) to those of a round star, so its share of the
 * distortion is (Cxx - Cyy, 2 Cxy) over the trace that is seen.
 */

const MOMENTS = 40;
/** Distortion that nobody sees: axes differ by 5 %. */
const LEAST_E = 0.05;
const SIGMAS = 3;
/** The star is no sum of round spot and path to better than this, and its wings count in the trace. */
const MODEL_E = 0.01;
const MODEL_SHARE = 0.12;
const MOST_E = 0.95;

interface Distortion {
  e1: number;
  e2: number;
  sigma: number;
}

/** What of one used frame is looked at; times on the run's clock. */
export interface ShapeFrame {
  record: SeriesRecord;
  registration: Registration;
  midS: number;
  exposureS: number;
}

/** One per frame; null where the shapes are not known. */
export function predictShapes(
  frames: readonly ShapeFrame[],
  motion: Motion,
  draws: readonly Motion[],
): (ShapePrediction | null)[] {
  const looked = frames.map((frame) => {
    const seen = seenShape(frame.record.stars);
    return seen && { seen, path: pathShape(frame, seen.tracePx2, motion, draws) };
  });
  const left = looked.filter((each) => each !== null).map(({ seen, path }) => difference(seen, path));
  const usual = commonShape(left);
  return looked.map((each) => each && predictionOf(each.seen, each.path, usual));
}

/** What the optics do is in every frame: they can be no worse than in the roundest quarter of them. */
function commonShape(left: readonly Distortion[]): Distortion {
  const roundest = [...left]
    .sort((p, q) => Math.hypot(p.e1, p.e2) - Math.hypot(q.e1, q.e2))
    .slice(0, Math.ceil(left.length / 4));
  const mean = (pick: (shape: Distortion) => number) =>
    roundest.reduce((sum, shape) => sum + pick(shape), 0) / Math.max(roundest.length, 1);
  return { e1: mean(({ e1 }) => e1), e2: mean(({ e2 }) => e2), sigma: mean(({ sigma }) => sigma) };
}

type SeenShape = Distortion & { tracePx2: number };

/** Common distortion of a frame's stars and the trace of their second moments. */
function seenShape(stars: RecordStars): SeenShape | null {
  const use: number[] = [];
  for (let i = 0; i < stars.count; i++)
    if (!(stars.flags[i] & FLAG.saturated) && Number.isFinite(stars.e1[i] + stars.e2[i] + stars.rmsPx[i]))
      use.push(i);
  const pick = (column: Float32Array) => use.map((i) => column[i]);
  const e1 = robustMean(pick(stars.e1), pick(stars.eSigma));
  const e2 = robustMean(pick(stars.e2), pick(stars.eSigma));
  if (!e1 || !e2) return null;
  const square = Math.min(e1.value ** 2 + e2.value ** 2, MOST_E ** 2);
  // rmsPx is that of the circle with the same area.
  const tracePx2 = (2 * median(pick(stars.rmsPx)) ** 2) / Math.sqrt(1 - square);
  return { e1: e1.value, e2: e2.value, sigma: Math.hypot(e1.sigma, e2.sigma) / Math.SQRT2, tracePx2 };
}

type PathShape = Distortion & { trailPx: Estimate };

/** In the frame's own axes. */
function pathShape(frame: ShapeFrame, tracePx2: number, motion: Motion, draws: readonly Motion[]): PathShape {
  const best = trailOf(motion, frame, tracePx2);
  const drawn = draws.map((draw) => trailOf(draw, frame, tracePx2));
  const rms = (pick: (t: Trail) => number) =>
    Math.sqrt(drawn.reduce((sum, t) => sum + (pick(t) - pick(best)) ** 2, 0) / Math.max(drawn.length, 1));
  const { registration } = frame;
  const turn = registration.ok ? (registration.rotationDeg.value * Math.PI) / 90 : 0;
  const e2 = registration.ok && registration.mirrored ? -best.e2 : best.e2;
  return {
    e1: Math.cos(turn) * best.e1 - Math.sin(turn) * e2,
    e2: Math.sin(turn) * best.e1 + Math.cos(turn) * e2,
    sigma:
      Math.hypot(
        rms((t) => t.e1),
        rms((t) => t.e2),
      ) / Math.SQRT2,
    trailPx: { value: best.lengthPx, sigma: rms((t) => t.lengthPx) },
  };
}

interface Trail {
  lengthPx: number;
  e1: number;
  e2: number;
}

function trailOf(motion: Motion, { midS, exposureS }: ShapeFrame, tracePx2: number): Trail {
  const at = (coefficients: Float64Array) =>
    Array.from({ length: MOMENTS }, (_, i) =>
      placeAt(motion, coefficients, midS + exposureS * ((i + 0.5) / MOMENTS - 0.5)),
    );
  const [x, y] = [at(motion.x), at(motion.y)];
  const mean = (values: number[]) => values.reduce((sum, v) => sum + v, 0) / MOMENTS;
  const [mx, my] = [mean(x), mean(y)];
  const xx = mean(x.map((v) => (v - mx) ** 2));
  const yy = mean(y.map((v) => (v - my) ** 2));
  const xy = mean(x.map((v, i) => (v - mx) * (y[i] - my)));
  let lengthPx = 0;
  for (let i = 0; i < MOMENTS; i++)
    for (let j = 0; j < i; j++) lengthPx = Math.max(lengthPx, Math.hypot(x[i] - x[j], y[i] - y[j]));
  // The outermost moments lie half a step inside the exposure.
  lengthPx *= MOMENTS / (MOMENTS - 1);
  return { lengthPx, e1: (xx - yy) / tracePx2, e2: (2 * xy) / tracePx2 };
}

function difference(seen: Distortion, path: Distortion): Distortion {
  const size = Math.hypot(path.e1, path.e2);
  return {
    e1: seen.e1 - path.e1,
    e2: seen.e2 - path.e2,
    sigma: Math.hypot(seen.sigma, path.sigma, MODEL_E, MODEL_SHARE * size),
  };
}

function predictionOf(seen: SeenShape, path: PathShape, usual: Distortion): ShapePrediction {
  const left = difference(seen, path);
  const other = Math.max(Math.hypot(left.e1 - usual.e1, left.e2 - usual.e2), 1e-6);
  const leftTrail = Math.sqrt(12 * seen.tracePx2 * other);
  return {
    trailPx: path.trailPx,
    predicted: shapeOf(path),
    seen: shapeOf(seen),
    chi2: (left.e1 ** 2 + left.e2 ** 2) / left.sigma ** 2,
    leftTrailPx: { value: leftTrail, sigma: (leftTrail * left.sigma) / (2 * other) },
    says: verdictOn(seen, path, left, usual),
  };
}

function verdictOn(
  seen: Distortion,
  path: Distortion,
  left: Distortion,
  usual: Distortion,
): ShapePrediction['says'] {
  const size = ({ e1, e2 }: Distortion) => Math.hypot(e1, e2);
  if (size(seen) < Math.max(LEAST_E, SIGMAS * seen.sigma)) return 'round';
  const moved = size(path) > LEAST_E / 2;
  if (moved && size(left) < Math.max(LEAST_E, SIGMAS * left.sigma)) return 'tracking';
  const other = Math.hypot(left.e1 - usual.e1, left.e2 - usual.e2);
  const alike = other < Math.max(LEAST_E, SIGMAS * Math.hypot(left.sigma, usual.sigma));
  if (!alike) return 'within';
  return moved ? 'both' : 'optics';
}

/** Elongation and axis with their errors; the axis of a round star is anybody's guess: 52°, that of an even spread. */
function shapeOf({ e1, e2, sigma }: Distortion): ShapePrediction['seen'] {
  const e = Math.min(Math.hypot(e1, e2), MOST_E);
  const elongation = elongationOf(e);
  const angleSigma = e > 0 ? ((sigma / e) * 90) / Math.PI : Infinity;
  return {
    // d(A/B)/de = (A/B) / (1 - e²)
    elongation: { value: elongation, sigma: (elongation / (1 - e * e)) * sigma },
    angleDeg: { value: axisAngleDeg(e1, e2), sigma: Math.min(angleSigma, UNKNOWN_AXIS_DEG) },
  };
}
const UNKNOWN_AXIS_DEG = 180 / Math.sqrt(12);
