/**
 * A shift, turn and common scale of the star field, with or without a mirror image. Positions are complex numbers
 * w = x + iy from the sensor's centre, px: w' = m w + d, or m conj(w) + d when mirrored. The turn is from +x towards +y.
 */
export interface Similarity {
  mRe: number;
  mIm: number;
  dx: number;
  dy: number;
  mirrored: boolean;
}

export const IDENTITY: Similarity = { mRe: 1, mIm: 0, dx: 0, dy: 0, mirrored: false };

export const mapX = (t: Similarity, x: number, y: number): number =>
  t.mRe * x - t.mIm * (t.mirrored ? -y : y) + t.dx;
export const mapY = (t: Similarity, x: number, y: number): number =>
  t.mIm * x + t.mRe * (t.mirrored ? -y : y) + t.dy;

export const scaleOf = (t: Similarity): number => Math.hypot(t.mRe, t.mIm);
export const rotationRad = (t: Similarity): number => Math.atan2(t.mIm, t.mRe);

/** First `inner`, then `outer`. */
export function compose(outer: Similarity, inner: Similarity): Similarity {
  const sign = outer.mirrored ? -1 : 1;
  return {
    mRe: outer.mRe * inner.mRe - sign * outer.mIm * inner.mIm,
    mIm: outer.mIm * inner.mRe + sign * outer.mRe * inner.mIm,
    dx: mapX(outer, inner.dx, inner.dy),
    dy: mapY(outer, inner.dx, inner.dy),
    mirrored: outer.mirrored !== inner.mirrored,
  };
}

export function inverse(t: Similarity): Similarity {
  const square = t.mRe ** 2 + t.mIm ** 2;
  // w = (w' - d) / m; of a mirror image the conjugate of that.
  const sign = t.mirrored ? -1 : 1;
  const back: Similarity = {
    mRe: t.mRe / square,
    mIm: (-sign * t.mIm) / square,
    dx: 0,
    dy: 0,
    mirrored: t.mirrored,
  };
  return { ...back, dx: -mapX(back, t.dx, t.dy), dy: -mapY(back, t.dx, t.dy) };
}

/** The similarity that takes a to a' and b to b'. */
export function fromTwoPoints(
  a: readonly [number, number],
  b: readonly [number, number],
  a2: readonly [number, number],
  b2: readonly [number, number],
  mirrored: boolean,
): Similarity {
  const sign = mirrored ? -1 : 1;
  const [ux, uy] = [b[0] - a[0], sign * (b[1] - a[1])];
  const [vx, vy] = [b2[0] - a2[0], b2[1] - a2[1]];
  const square = ux * ux + uy * uy;
  const turned: Similarity = {
    mRe: (vx * ux + vy * uy) / square,
    mIm: (vy * ux - vx * uy) / square,
    dx: 0,
    dy: 0,
    mirrored,
  };
  return { ...turned, dx: a2[0] - mapX(turned, a[0], a[1]), dy: a2[1] - mapY(turned, a[0], a[1]) };
}
