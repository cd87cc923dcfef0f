import type { RoundCircle } from '../../workers/protocol/model.ts';

/** The circle inside which coma does not show, where it lies on the frame: full-frame pixels. */
export interface RoundMark {
  xPx: number;
  yPx: number;
  radiusPx: number;
  /** Its middle, where coma vanishes, lies beyond the border. */
  off: boolean;
  /** Where the way from the sensor's middle to the circle's crosses the border, and that way; only of use when `off`. */
  exit: { xPx: number; yPx: number; angleRad: number };
}

/** Null where there is nothing to draw: no such coma, or the whole sensor lies inside. */
export function roundMark(
  round: RoundCircle | null,
  { widthPx, heightPx }: { widthPx: number; heightPx: number },
): RoundMark | null {
  if (!round || round.coversAll) return null;
  const { x, y } = round.centrePx;
  const [cx, cy] = [(widthPx - 1) / 2, (heightPx - 1) / 2];
  // How many times farther out than the border, along the worse of the two axes.
  const times = Math.max(Math.abs(x) / (widthPx / 2), Math.abs(y) / (heightPx / 2));
  const scale = times > 0 ? 1 / times : 0;
  return {
    xPx: cx + x,
    yPx: cy + y,
    radiusPx: round.radiusPx,
    off: times > 1,
    exit: { xPx: cx + scale * x, yPx: cy + scale * y, angleRad: Math.atan2(y, x) },
  };
}
