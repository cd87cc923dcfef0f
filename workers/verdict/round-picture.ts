import type { StampSet } from '../protocol/stamps.ts';

/** Fewer stars may leave the corners empty by chance. */
const LEAST_STARS = 40;
/** Share of the stars that may lie outside the circle: junk at its rim. */
const MOST_OUTSIDE = 0.03;
/** The circle inside the frame, a little larger for what is not quite centred, in half sides of the shorter side. */
const CIRCLE = 1.05;

/**
 * Whether the stars fill a circle and leave all corners of the frame empty: the whole sky through a fisheye lens, whose
 * stars follow another law than a telescope's. A vignetted corner still shows some of its stars.
 */
export function isRoundPicture({ count, xPx, yPx, widthPx, heightPx }: StampSet): boolean {
  if (count < LEAST_STARS) return false;
  const radiusPx = (CIRCLE * Math.min(widthPx, heightPx)) / 2;
  let outside = 0;
  for (let star = 0; star < count; star++)
    if (Math.hypot(xPx[star] - (widthPx - 1) / 2, yPx[star] - (heightPx - 1) / 2) > radiusPx) outside++;
  return outside < MOST_OUTSIDE * count;
}
