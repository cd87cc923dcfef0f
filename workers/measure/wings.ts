import { median } from '../math/robust.ts';
import type { WingForm } from './wing-form.ts';

/** Wing exponents k = 1/beta that are tried: from all but Gaussian (beta 300) to beta 1.8. */
export const WING_EXPONENTS = [0.003, 0.06, 0.12, 0.2, 0.28, 0.36, 0.45, 0.55];
export const USUAL_FORM: WingForm = { k: 0.28, wing: 0 };
const USUAL = WING_EXPONENTS.indexOf(USUAL_FORM.k);
/** Shares of the height in the wing that are tried where a profile without one does not fit; turbulence has 0.12. */
const WING_SHARES = [0, 0.06, 0.12, 0.24];

/** One fit of a star with a form; null where it was lost. */
export type FormFit = (form: WingForm) => { deviance: number; chi2PerFreedom: number } | null;

/**
 * The form that the frame's bright stars share. First the wing exponent alone: the median over the stars of the minimum
 * of each star's own deviance. Where that leaves more than noise (chi² of the median star), the brightest few also tell
 * the share of the wing, each along its own valley of the best exponent, and the exponent is found once more. Without the
 * gain chi² says nothing of the profile.
 */
export function frameForm(stars: FormFit[], noiseKnown: boolean): WingForm {
  const { k } = refined(stars, { k: exponentOf(stars, 0), wing: 0 });
  if (!noiseKnown) return { k, wing: 0 };
  const leftBy = (form: WingForm) => median(stars.map((fit) => fit(form)?.chi2PerFreedom ?? NaN));
  const left = leftBy({ k, wing: 0 });
  if (!(left > MOST_CHI2)) return { k, wing: 0 };
  const wing = median(stars.slice(0, WING_STARS).map(shareOf));
  if (!(wing > 0)) return { k, wing: 0 };
  const winged = refined(stars, { k: exponentOf(stars, wing), wing });
  return leftBy(winged) - 1 < EXPLAINED * (left - 1) ? winged : { k, wing: 0 };
}

/** Beyond this chi² over its degrees of freedom the profile misses more than noise: three errors of the median of 30. */
const MOST_CHI2 = 1.08;
const WING_STARS = 12;
/** A wing that does not take away half of that is not what the profile misses: coma, a ring, two images. */
const EXPLAINED = 0.5;

function shareOf(fit: FormFit): number {
  const lowest = WING_SHARES.map((wing) => vertex(WING_EXPONENTS, wingCurve(fit, wing)).y);
  return vertex(WING_SHARES, lowest).x;
}

/** Steps of the exponent and of the wing's share about the coarse form: within them the deviance is a parabola. */
const FINE_STEP = { k: 0.02, wing: 0.02 };
/** The parabola is trusted so many steps out. */
const FINE_REACH = 2;
const FINE_ROUNDS = 2;

/**
 * The deviance is no parabola over the coarse exponents. The vertex of each star's own, from small steps about the form
 * found so far; the median of the brightest stars.
 */
function refined(stars: FormFit[], form: WingForm): WingForm {
  let { k, wing } = form;
  for (let round = 0; round < FINE_ROUNDS; round++) {
    const moves = stars.slice(0, WING_STARS).flatMap((fit) => fineMove(fit, { k, wing }) ?? []);
    if (moves.length === 0) break;
    const least = WING_EXPONENTS[0];
    k = Math.min(
      WING_EXPONENTS[WING_EXPONENTS.length - 1],
      Math.max(least, k + median(moves.map((m) => m.k))),
    );
    if (wing > 0) wing = Math.max(0, wing + median(moves.map((m) => m.wing)));
  }
  return { k, wing };
}

/** Newton's step to a star's lowest deviance, by differences; null where a fit was lost or the deviance has no bowl. */
function fineMove(fit: FormFit, { k, wing }: WingForm): WingForm | null {
  const at = (dk: number, dw: number) =>
    fit({ k: Math.max(WING_EXPONENTS[0], k + dk), wing: Math.max(0, wing + dw) })?.deviance ?? NaN;
  const { k: h, wing: g } = FINE_STEP;
  const [middle, up, down] = [at(0, 0), at(h, 0), at(-h, 0)];
  const slopeK = (up - down) / (2 * h);
  const bendK = (up + down - 2 * middle) / h ** 2;
  const within = (step: number, most: number) => Math.max(-most, Math.min(most, step));
  if (!(bendK > 0)) return null;
  if (!(wing > 0)) return { k: within(-slopeK / bendK, FINE_REACH * h), wing: 0 };
  const [more, less, both] = [at(0, g), at(0, -g), at(h, g)];
  const slopeW = (more - less) / (2 * g);
  const bendW = (more + less - 2 * middle) / g ** 2;
  const cross = (both - up - more + middle) / (h * g);
  const det = bendK * bendW - cross ** 2;
  if (!(det > 0)) return null;
  return {
    k: within((cross * slopeW - bendW * slopeK) / det, FINE_REACH * h),
    wing: within((cross * slopeK - bendK * slopeW) / det, FINE_REACH * g),
  };
}

function exponentOf(stars: FormFit[], wing: number): number {
  const best = stars.map((fit) => vertex(WING_EXPONENTS, wingCurve(fit, wing)).x);
  const known = best.filter((k) => !Number.isNaN(k));
  return known.length === 0 ? USUAL_FORM.k : median(known);
}

/**
 * One star's deviance at WING_EXPONENTS as far as needed to find the lowest: from the usual exponent downhill until both
 * neighbours are higher; NaN where a fit was lost or not asked for.
 */
function wingCurve(fit: FormFit, wing: number): number[] {
  const curve = WING_EXPONENTS.map(() => NaN);
  const at = (i: number) => (curve[i] = fit({ k: WING_EXPONENTS[i], wing })?.deviance ?? NaN);
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

/** The lowest point of a curve by a parabola through its lowest value and the two beside it. */
export function vertex(xs: number[], ys: number[]): { x: number; y: number } {
  const low = ys.reduce((best, value, i) => (value < ys[best] || Number.isNaN(ys[best]) ? i : best), 0);
  const [x0, x1, x2] = [low - 1, low, low + 1].map((i) => xs[i]);
  const [y0, y1, y2] = [low - 1, low, low + 1].map((i) => ys[i]);
  if (Number.isNaN(y1)) return { x: NaN, y: NaN };
  if (x0 === undefined || x2 === undefined || !Number.isFinite(y0 + y2)) return { x: x1, y: y1 };
  const left = (y1 - y0) / (x1 - x0);
  const right = (y2 - y1) / (x2 - x1);
  const bend = (right - left) / (x2 - x0);
  if (!(bend > 0)) return { x: x1, y: y1 };
  const x = Math.min(x2, Math.max(x0, (x0 + x1) / 2 - left / (2 * bend)));
  return { x, y: y0 + (x - x0) * (left + (x - x1) * bend) };
}
