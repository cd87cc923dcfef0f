import { measureSky } from '../background/sky.ts';
import { FLAG, NOT_FOR_SHAPE } from '../protocol/flags.ts';
import type { Kernels } from '../wasm/kernels.ts';
import type { Plane } from '../wasm/plane.ts';
import { calibrateWidths } from './calibrate.ts';
import { Field } from './field.ts';
import { combineHalfLight } from './half-light-field.ts';
import { learnFrame } from './learn.ts';
import type { Measurement } from './measure.ts';
import { measureStar, type MeasuredStar } from './star.ts';
import { Workspace } from './workspace.ts';
import type { Sample } from './width-ratio.ts';

/** A star in one colour, on that colour's own pixels. */
export interface ColourStar {
  /** The same star in the table. */
  star: MeasuredStar;
  xPx: number;
  yPx: number;
  positionSigmaPx: number;
  fwhmPx: number;
  fwhmSigmaPx: number;
  hfdPx: number;
}

const MIN_SNR = 25;
const MOST_STARS = 400;
const MOST_RELATIVE_SIGMA = 0.3;

/** The table's own stars: those of the plane that was measured, green. */
export const measuredColour = ({ stars }: Measurement): ColourStar[] =>
  stars
    .slice(0, MOST_STARS)
    .filter(isGood)
    .map((star) => inColour(star, star))
    .filter(hasWidth);

/**
 * Measures the brightest good stars once more on the pixels of another colour (no colour is made up between them), as the
 * table's stars were: with the wings, backgrounds, halo and calibration of that colour, which has its own width and air.
 */
export function measureColour(
  plane: Plane,
  { stars, shape, radiusPx, unitsPerElectron }: Measurement,
  kernels: Kernels,
): ColourStar[] {
  const mark = kernels.arena.mark();
  const sky = measureSky(plane, kernels);
  const space = new Workspace(kernels, plane, radiusPx);
  const candidates = stars.map(({ xPx, yPx, snr }) => ({ xPx, yPx, significance: snr, double: false }));
  const field = new Field(plane, sky, candidates, shape, radiusPx);
  const learned = learnFrame(space, field, shape, { unitsPerElectron });
  const { form, noiseAt } = learned;
  const found: { star: MeasuredStar; sample: Sample }[] = [];
  stars.slice(0, MOST_STARS).forEach((star, index) => {
    if (!isGood(star)) return;
    const target = field.target(index);
    const measured = measureStar(space, target, shape, form, radiusPx, noiseAt(target), learned);
    if (!measured || measured.star.flags & (FLAG.saturated | FLAG.unfitted)) return;
    found.push({ star, sample: { ...measured, target } });
  });
  const samples = found.map(({ sample }) => sample);
  combineHalfLight(samples, plane, learned.halo);
  calibrateWidths(space, plane, samples, { shape, form, radiusPx, noiseAt });
  kernels.arena.reset(mark);
  return found.map(({ star, sample }) => inColour(star, sample.star)).filter(hasWidth);
}

const isGood = (star: MeasuredStar): boolean =>
  !(star.flags & (NOT_FOR_SHAPE | FLAG.ring)) && star.snr >= MIN_SNR;

const hasWidth = ({ fwhmPx, fwhmSigmaPx }: ColourStar): boolean => fwhmSigmaPx < MOST_RELATIVE_SIGMA * fwhmPx;

function inColour(
  star: MeasuredStar,
  { xPx, yPx, positionSigmaPx, fwhmPx, fwhmSigmaPx, hfdPx }: MeasuredStar,
): ColourStar {
  return { star, xPx, yPx, positionSigmaPx, fwhmPx, fwhmSigmaPx, hfdPx };
}
