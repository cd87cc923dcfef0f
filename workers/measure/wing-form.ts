/**
 * The radial form that a frame's stars share: I / A = (1 - wing) (1 + k q)^(-1/k) + wing / (1 + WING q)^2.5, a Moffat profile
 * with k = 1/beta and, where that alone does not fit, a wing of beta 2.5 with a share of the height.
 */
export interface WingForm {
  k: number;
  wing: number;
}

/** As in kernels/profile.ts. */
export const WING = 0.25;

/** Height at q over that in the middle. */
export const heightAt = ({ k, wing }: WingForm, q: number): number =>
  (1 - wing) * (1 + k * q) ** (-1 / k) + wing / (1 + WING * q) ** 2.5;

/** Light of a profile of height 1 and curvature det 1: pi times the integral of the height over q. */
export const lightOf = ({ k, wing }: WingForm): number =>
  Math.PI * ((1 - wing) / (1 - k) + wing / (1.5 * WING));

/**
 * What the mean over a pixel of a profile of height 1 lies above its value in the middle, where the profile is the one
 * seen through the pixel: kernels/profile.ts, `beyond`. `slope2` = |grad q|², `trace` = a + b.
 */
export function beyondMiddle(form: WingForm, q: number, slope2: number, trace: number): number {
  const { k, wing } = form;
  const t = 1 + k * q;
  const u = 1 / (1 + WING * q);
  const height = heightAt(form, q);
  const fall = (1 - wing) * t ** (-1 / k - 1) + 2.5 * WING * wing * u ** 3.5;
  const curve = (1 - wing) * (1 + k) * t ** (-1 / k - 2) + 8.75 * WING ** 2 * wing * u ** 4.5;
  const half = Math.LN2 / halfHeight(form);
  return (slope2 * (curve - half * fall)) / 24 + (trace * (half * height - fall)) / 12;
}

/** -d ln height / d ln q. */
export function slopeAt({ k, wing }: WingForm, q: number): number {
  const core = (1 - wing) * (1 + k * q) ** (-1 / k - 1);
  const tail = (2.5 * WING * wing) / (1 + WING * q) ** 3.5;
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
