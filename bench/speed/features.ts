import { measureSky, type Sky } from '../../workers/background/sky.ts';
import { detectStars, type Detection } from '../../workers/detect/detect.ts';
import { axes } from '../../workers/math/shape.ts';
import { Field } from '../../workers/measure/field.ts';
import { measureGrowth } from '../../workers/measure/growth.ts';
import { measureStars } from '../../workers/measure/measure.ts';
import { gatherTarget, momentProfile } from '../../workers/measure/star.ts';
import { Workspace } from '../../workers/measure/workspace.ts';
import type { Kernels } from '../../workers/wasm/kernels.ts';
import type { Plane } from '../../workers/wasm/plane.ts';

/** Milliseconds of each feature on one frame. */
export interface FeatureTimes {
  sky: number;
  detection: number;
  /** Without fits: pixels and adaptive moments of every candidate. */
  moments: number;
  /** ... and its half-flux diameter, rms size and third moments from its pixels. */
  growth: number;
  /** With fits: what the frame's stars share (wings, gain, background, halo). */
  firstFits: number;
  /** Profile, half-flux diameter and third moments of every candidate. */
  stars: number;
  judging: number;
  /** Mean residuals that correct the widths; sorting. */
  calibration: number;
  /** Fits of the candidates with a signal to noise over 20 alone, all stages of measuring. */
  brightOnly: number;
  found: number;
  foundBright: number;
}

/** Of the star field, so that its file can say it too: to find a gain costs time of its own. */
export const UNITS_PER_ELECTRON = 1;
const BRIGHT_SIGNIFICANCE = 20;

export function timeFeatures(plane: Plane, kernels: Kernels): FeatureTimes {
  const { arena } = kernels;
  const mark = arena.mark();
  const clock = new Clock();
  const sky = measureSky(plane, kernels);
  const skyMs = clock.lap();
  const found = detectStars(plane, sky, kernels);
  if (!found) throw new Error('the frame is covered with structure');
  const detection = clock.lap();
  const { moments, growth } = withoutFits(plane, sky, found, kernels);
  clock.lap();
  const laps: number[] = [];
  const all = measureStars(
    plane,
    sky,
    found,
    { unitsPerElectron: UNITS_PER_ELECTRON },
    kernels,
    () => {},
    () => laps.push(clock.lap()),
  );
  laps.push(clock.lap());
  const [, firstFits, stars, judging, calibration] = laps;
  const bright = found.candidates.filter(({ significance }) => significance > BRIGHT_SIGNIFICANCE);
  const few = measureStars(
    plane,
    sky,
    { ...found, candidates: bright },
    { unitsPerElectron: UNITS_PER_ELECTRON },
    kernels,
  );
  const brightOnly = clock.lap();
  arena.reset(mark);
  return {
    sky: skyMs,
    detection,
    moments,
    growth,
    firstFits,
    stars,
    judging,
    calibration,
    brightOnly,
    found: all.stars.length,
    foundBright: few.stars.length,
  };
}

/** The table that sep makes: no profile is fitted, all comes from moments and the pixels about each candidate. */
function withoutFits(
  plane: Plane,
  sky: Sky,
  { candidates, shape }: Detection,
  kernels: Kernels,
): { moments: number; growth: number } {
  const radiusPx = Math.ceil(3.2 * axes(shape).major + 3);
  const space = new Workspace(kernels, plane, radiusPx);
  const field = new Field(plane, sky, candidates, shape, radiusPx);
  const sum = { moments: 0, growth: 0 };
  const clock = new Clock();
  const order = Array.from(candidates.keys()).sort((i, j) => candidates[i].yPx - candidates[j].yPx);
  for (const index of order) {
    const target = field.target(index);
    const gathered = gatherTarget(space, target, radiusPx);
    const profile = momentProfile(space, target, gathered, shape, radiusPx);
    sum.moments += clock.lap();
    if (profile) measureGrowth(space, gathered.count, profile, radiusPx, false);
    sum.growth += clock.lap();
  }
  return sum;
}

class Clock {
  private since = performance.now();

  /** Milliseconds since the last call. */
  lap(): number {
    const now = performance.now();
    const took = now - this.since;
    this.since = now;
    return took;
  }
}
