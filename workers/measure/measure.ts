import type { Sky } from '../background/sky.ts';
import type { Detection } from '../detect/detect.ts';
import { axes, width, type Moments } from '../math/shape.ts';
import { FLAG } from '../protocol/flags.ts';
import type { Kernels } from '../wasm/kernels.ts';
import type { Plane } from '../wasm/plane.ts';
import { calibrateWidths } from './calibrate.ts';
import { Field } from './field.ts';
import { combineHalfLight } from './half-light-field.ts';
import { judgePlateaus, judgeShapes } from './judge.ts';
import { learnFrame, type Gain } from './learn.ts';
import { NeighbourIndex } from './neighbours.ts';
import { measureStar, type MeasuredStar } from './star.ts';
import type { WingForm } from './wing-form.ts';
import { Workspace } from './workspace.ts';
import type { Sample } from './width-ratio.ts';

export interface Measurement {
  stars: MeasuredStar[];
  /** Radial form shared by the frame. */
  form: WingForm;
  radiusPx: number;
  /** Stored units per electron: as given, or as the frame itself tells. */
  unitsPerElectron: number;
  /** Standard error of its logarithm; 0 when it was given. */
  gainLogSigma: number;
  /** What a star of this frame looks like, as detection found it. */
  shape: Moments;
}

/** What a measurement is at, in this order; benchmarks time it. */
export type MeasureStage = 'first fits' | 'stars' | 'judging' | 'calibration';

const MIN_RADIUS_PX = 7;
const MAX_RADIUS_PX = 48;
const MIN_SNR = 5.5;

/**
 * Measures every candidate: first the wing exponent from the brightest lone stars, then all of them with it.
 * Hot pixels and cosmic rays are dropped; what is doubtful is flagged. Brightest first.
 */
export function measureStars(
  plane: Plane,
  sky: Sky,
  { candidates, shape }: Detection,
  gain: Gain,
  kernels: Kernels,
  onProgress: (done: number) => void = () => {},
  onStage: (stage: MeasureStage) => void = () => {},
): Measurement {
  onStage('first fits');
  const mark = kernels.arena.mark();
  const { major } = axes(shape);
  const radiusPx = Math.min(MAX_RADIUS_PX, Math.max(MIN_RADIUS_PX, Math.ceil(3.2 * major + 3)));
  const space = new Workspace(kernels, plane, radiusPx);
  const field = new Field(plane, sky, candidates, shape, radiusPx);
  const learned = learnFrame(space, field, shape, gain);
  const { form, unitsPerElectron, gainLogSigma, noiseAt } = learned;
  onStage('stars');
  const samples: Sample[] = [];
  // Row by row, so that what one star reads is still at hand for the next.
  const ys = Float64Array.from(candidates, ({ yPx }) => yPx);
  const order = Array.from(candidates.keys()).sort((i, j) => ys[i] - ys[j]);
  order.forEach((index, done) => {
    if (done % 64 === 0) onProgress(done);
    const target = field.target(index);
    const blended = field.blended(index);
    // A close neighbour's wings lie under it: its background is its own.
    const noise = blended ? { ...noiseAt(target), base: undefined } : noiseAt(target);
    const measured = measureStar(space, target, shape, form, radiusPx, noise, learned);
    if (!measured || measured.star.snr < MIN_SNR) return;
    const { star } = measured;
    if (blended) star.flags |= FLAG.blended;
    if (field.nearBorder(star)) star.flags |= FLAG.edge;
    samples.push({ ...measured, target });
  });
  const stars = samples.map((sample) => sample.star);
  onStage('judging');
  judgePlateaus(stars);
  judgeShapes(stars);
  onStage('calibration');
  combineHalfLight(samples, plane, learned.halo);
  calibrateWidths(space, plane, samples, { shape, form, radiusPx, noiseAt });
  kernels.arena.reset(mark);
  const kept = withoutTwins(
    stars.filter((star) => !(star.flags & FLAG.sharp)),
    width(shape),
  );
  return {
    stars: kept.sort((a, b) => b.flux - a.flux),
    form,
    radiusPx,
    unitsPerElectron,
    gainLogSigma,
    shape,
  };
}

/** Two candidates that settled on one star: the brighter stays. */
function withoutTwins(stars: MeasuredStar[], sizePx: number): MeasuredStar[] {
  const reach = Math.max(1.5, sizePx);
  const index = new NeighbourIndex(
    stars.map((star) => star.xPx),
    stars.map((star) => star.yPx),
    Math.max(8, reach),
  );
  return stars.filter((star, i) => !index.around(i, reach).some((other) => stars[other].snr > star.snr));
}
