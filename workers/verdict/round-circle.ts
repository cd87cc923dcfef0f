import { arcsecPerPixel, type FieldFit } from '../fit/field-fit.ts';
import { P } from '../fit/parameters.ts';
import { spotVariance } from '../fit/wavefront.ts';
import type { RoundCircle } from '../protocol/model.ts';

/**
 * Coma grows in proportion to the distance from its node, its spot's variance with the square: the radius where that
 * reaches `limitPx2` (per axis). Null where no coma grows with the field.
 */
export function roundCircle(fit: FieldFit, limitPx2: number): RoundCircle | null {
  const slope = fit.theta[P.comaField];
  if (!fit.groups.includes('comaField') || slope === 0) return null;
  const halfDiagonalPx = Math.hypot(fit.widthPx - 1, fit.heightPx - 1) / 2;
  const perPx = Math.abs(slope) / halfDiagonalPx;
  const radiusPx = Math.sqrt(limitPx2 / spotVariance('comaX', fit.optics.obstruction)) / perPx;
  const centrePx = {
    x: (-fit.theta[P.comaX] / slope) * halfDiagonalPx,
    y: (-fit.theta[P.comaY] / slope) * halfDiagonalPx,
  };
  const scale = arcsecPerPixel(fit);
  const farthest = Math.hypot(
    (fit.widthPx - 1) / 2 + Math.abs(centrePx.x),
    (fit.heightPx - 1) / 2 + Math.abs(centrePx.y),
  );
  return {
    centrePx,
    radiusPx,
    radiusArcmin: scale === null ? null : (radiusPx * scale) / 60,
    coversAll: farthest <= radiusPx,
  };
}
