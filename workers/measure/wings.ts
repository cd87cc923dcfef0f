import { median } from '../math/robust.ts';

/** Wing exponents k = 1/beta that are tried: from all but Gaussian (beta 100) to beta 1.8. */
export const WING_EXPONENTS = [0.01, 0.06, 0.12, 0.2, 0.28, 0.36, 0.45, 0.55];
export const USUAL_EXPONENT = 0.28;

const USUAL = WING_EXPONENTS.indexOf(USUAL_EXPONENT);

/**
 * One star's deviance at WING_EXPONENTS as far as needed to find the lowest: from the usual exponent downhill until both
 * neighbours are higher; NaN where a fit was lost or not asked for.
 */
export function wingCurve(deviance: (k: number) => number): number[] {
  const curve = WING_EXPONENTS.map(() => NaN);
  const at = (i: number) => (curve[i] = deviance(WING_EXPONENTS[i]));
  let low = USUAL;
  at(low);
  for (const way of [-1, 1]) {
    let next = low + way;
    while (next in curve) {
      if (Number.isNaN(curve[next])) at(next);
      if (!(curve[next] < curve[low])) break;
      low = next;
      next += way;
    }
  }
  return curve;
}

/**
 * The frame's wing exponent from the deviance of each bright star at WING_EXPONENTS (rows; NaN where a fit was lost
 * or not asked for): the median over the stars of the minimum of each star's own curve, a parabola through its lowest point.
 */
export function wingExponent(deviances: number[][]): number {
  const best = deviances.map(minimumOf).filter((k) => !Number.isNaN(k));
  return best.length === 0 ? USUAL_EXPONENT : median(best);
}

function minimumOf(curve: number[]): number {
  const low = curve.reduce(
    (best, value, i) => (value < curve[best] || Number.isNaN(curve[best]) ? i : best),
    0,
  );
  const [x0, x1, x2] = [low - 1, low, low + 1].map((i) => WING_EXPONENTS[i]);
  const [y0, y1, y2] = [low - 1, low, low + 1].map((i) => curve[i]);
  if (x0 === undefined || x2 === undefined || !Number.isFinite(y0 + y1 + y2)) return x1;
  // Vertex of the parabola through three points.
  const left = (y1 - y0) / (x1 - x0);
  const right = (y2 - y1) / (x2 - x1);
  const bend = (right - left) / (x2 - x0);
  return bend > 0 ? Math.min(x2, Math.max(x0, (x0 + x1) / 2 - left / (2 * bend))) : x1;
}
