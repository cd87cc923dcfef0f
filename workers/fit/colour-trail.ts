import { COLOUR_SPREAD } from './colour-spread.ts';
import { without } from './eliminate.ts';
import { legsOf, pathMoments } from './free-path.ts';
import type { FitResult } from './levenberg.ts';
import type { Optics } from './optics.ts';
import { P } from './parameters.ts';
import { pathSpread } from './path.ts';
import { removed } from './removed.ts';

/** A trail counts as the green light's own width up to this angle from the shift of the colours. */
const ALONG_DEG = 10;
/** Largest variance of green light over the squared shift: two standard errors above the usual filter's. */
const WIDEST = COLOUR_SPREAD.centre + 2 * COLOUR_SPREAD.sigma;
const MOVING = ['motion', 'rotation', 'path'] as const;

/**
 * Where air parts the colours, a filter that passes them unevenly draws stars out like a trail rather than like a bell. A
 * trail that lies along the measured shift and is no longer than green light can be spread is no movement: it goes over to
 * the colours. A true drift lies so by chance once in nine, and then only a short one is missed.
 */
export function trailOfColour<T extends Pick<FitResult, 'state' | 'shape'>>(
  result: T,
  { colourShiftPx }: Optics,
): T {
  const { state, shape } = result;
  const { theta } = state;
  if (!colourShiftPx || shape.path === 'none' || !shape.groups.has('colourSpread')) return result;
  if (Math.abs(theta[P.rotation]) > 0.3 * Math.hypot(theta[P.motionX], theta[P.motionY])) return result;
  const { x, y } = colourShiftPx;
  const square = x * x + y * y;
  const { variance } = pathSpread(shape.path, theta[P.path1], theta[P.path2]);
  const [mx, my] = [theta[P.motionX], theta[P.motionY]];
  const path =
    shape.path === 'free'
      ? pathMoments(legsOf(theta))
      : { xx: variance * mx * mx, yy: variance * my * my, xy: variance * mx * my };
  const axis = Math.atan2(2 * path.xy, path.xx - path.yy) / 2;
  const apart = Math.abs(Math.sin(axis - Math.atan2(y, x)));
  const spread = theta[P.colourSpread] + (path.xx + path.yy) / square;
  if (apart > Math.sin((ALONG_DEG * Math.PI) / 180) || spread > WIDEST) return result;
  const still = removed(theta, MOVING);
  still[P.colourSpread] = spread;
  const plain = without(shape, MOVING);
  return { ...result, state: { ...state, theta: still }, shape: { groups: plain.groups, path: 'none' } };
}
