import { measureSky, meshAt } from '../background/sky.ts';
import { FLAG, NOT_FOR_SHAPE } from '../protocol/flags.ts';
import type { Kernels } from '../wasm/kernels.ts';
import type { Plane } from '../wasm/plane.ts';
import { measureGrowth } from './growth.ts';
import type { Measurement } from './measure.ts';
import { seenProfile, shapeOf } from './profile.ts';
import { fitTarget, type MeasuredStar } from './star.ts';
import { Workspace } from './workspace.ts';

/** A star in one colour, on that colour's own pixels. */
export interface ColourStar {
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

/**
 * Measures the brightest good stars once more on one colour's pixels (no colour is made up between them). Widths are
 * those of the plain profile: the three colours compare with each other, not with the calibrated widths of the table.
 */
export function measureColour(
  plane: Plane,
  { stars, form, radiusPx, unitsPerElectron, narrow }: Measurement,
  kernels: Kernels,
): ColourStar[] {
  const mark = kernels.arena.mark();
  const sky = measureSky(plane, kernels);
  const space = new Workspace(kernels, plane, radiusPx);
  space.integratePixels(narrow);
  const found: ColourStar[] = [];
  for (const star of stars.slice(0, MOST_STARS)) {
    if (star.flags & (NOT_FOR_SHAPE | FLAG.ring) || star.snr < MIN_SNR) continue;
    const target = {
      xPx: star.xPx,
      yPx: star.yPx,
      level: meshAt(sky, sky.levels, plane, star.xPx, star.yPx),
      sigma: meshAt(sky, sky.sigmas, plane, star.xPx, star.yPx),
      neighbours: [],
      roughness: 0,
      heightGuess: 0,
    };
    const noise = { skyVariance: target.sigma ** 2, unitsPerElectron };
    const { profile, gathered, cx, cy } = fitTarget(
      space,
      target,
      { shape: shapeOfStar(star) },
      form,
      radiusPx,
      noise,
    );
    if (!profile || gathered.saturated > 0) continue;
    const shape = shapeOf(seenProfile(space, profile));
    if (!(shape.fwhmSigmaPx < 0.3 * shape.fwhmPx)) continue;
    found.push({
      star,
      xPx: cx + profile.dx,
      yPx: cy + profile.dy,
      positionSigmaPx: shape.positionSigmaPx,
      fwhmPx: shape.fwhmPx,
      fwhmSigmaPx: shape.fwhmSigmaPx,
      hfdPx: measureGrowth(space, gathered.count, profile, radiusPx, true).hfdPx,
    });
  }
  kernels.arena.reset(mark);
  return found;
}

/** Second moments of the Gaussian with a star's width and distortion. */
function shapeOfStar({ fwhmPx, e1, e2 }: MeasuredStar) {
  const area = (fwhmPx / (2 * Math.sqrt(2 * Math.LN2))) ** 2;
  const mean = area / Math.sqrt(Math.max(1 - e1 ** 2 - e2 ** 2, 0.05));
  return { xx: mean * (1 + e1), yy: mean * (1 - e1), xy: mean * e2 };
}
