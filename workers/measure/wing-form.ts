/**
 * The radial form that a frame's stars share: I / A = (1 - wing) (1 + k q)^(-1/k) + wing / (1 + WING q)², a Moffat profile
 * with k = 1/beta and, where that alone does not fit, a wing of beta 2 with a share of the height.
 */
export interface WingForm {
  k: number;
  wing: number;
}

/** As in kernels/profile.ts. */
export const WING = 0.3;

/** Height at q over that in the middle. */
export const heightAt = ({ k, wing }: WingForm, q: number): number =>
  (1 - wing) * (1 + k * q) ** (-1 / k) + wing / (1 + WING * q) ** 2;

/** Light of a profile of height 1 and curvature det 1: pi times the integral of the height over q. */
export const lightOf = ({ k, wing }: WingForm): number => Math.PI * ((1 - wing) / (1 - k) + wing / WING);

/** -d ln height / d ln q. */
export function slopeAt({ k, wing }: WingForm, q: number): number {
  const core = (1 - wing) * (1 + k * q) ** (-1 / k - 1);
  const tail = (2 * WING * wing) / (1 + WING * q) ** 3;
  return (q * (core + tail)) / heightAt({ k, wing }, q);
}

const last = { k: NaN, wing: NaN, q: NaN };

/** q of the half-height contour. */
export function halfHeight({ k, wing }: WingForm): number {
  if (last.k === k && last.wing === wing) return last.q;
  let q = (2 ** k - 1) / k;
  // Newton's rule on ln height: the wing moves the contour little, and five steps leave rounding alone.
  for (let step = 0; wing > 0 && step < 5; step++)
    q *= 1 + Math.log(2 * heightAt({ k, wing }, q)) / slopeAt({ k, wing }, q);
  return Object.assign(last, { k, wing, q }).q;
}
