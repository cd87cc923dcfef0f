import { choleskyFactor, choleskySolve } from '../math/linear.ts';
import type { StarImages } from './star-image.ts';

/** Residuals beyond this many sigmas count linearly (Huber). */
const HUBER_SIGMAS = 3;

/** The usable pixels of one star: index into the padded image, value, and one over its standard deviation. */
export interface StarPixels {
  index: Int32Array;
  electrons: Float64Array;
  inverseSigma: Float64Array;
}

/** A star fitted with the field's parameters held: what the joint fit needs of it. */
export interface StarAnswer {
  star: number;
  flux: number;
  background: number;
  /** Huber cost in units of chi squared, plain chi squared, pixels used. */
  cost: number;
  chi2: number;
  pixels: number;
  /**
   * With derivatives: normal matrix and gradient (towards lower cost) of the wanted locals after flux, background, x
   * and y are eliminated; the position's own step and how it answers to a step of the locals.
   */
  reduced: {
    /** The star's own light over its noise, squared and summed over the pixels. */
    power: number;
    matrix: Float64Array;
    gradient: Float64Array;
    shift: [number, number];
    shiftBy: [Float64Array, Float64Array];
  } | null;
}

/** Solves flux and background (weighted least squares, Huber weights) and eliminates the star's own unknowns. */
export function solveStar(star: number, pixels: StarPixels, images: StarImages): StarAnswer {
  const { index, electrons, inverseSigma } = pixels;
  const count = index.length;
  const value = new Float64Array(count);
  for (let i = 0; i < count; i++) value[i] = images.value[index[i]];
  const weight = new Float64Array(count);
  for (let i = 0; i < count; i++) weight[i] = inverseSigma[i] * inverseSigma[i];

  let flux = 0;
  let background = 0;
  let cost = 0;
  let chi2 = 0;
  const residual = new Float64Array(count);
  for (let round = 0; round < 3; round++) {
    [flux, background] = fluxAndBackground(value, electrons, weight);
    cost = 0;
    chi2 = 0;
    for (let i = 0; i < count; i++) {
      residual[i] = electrons[i] - flux * value[i] - background;
      const pull = Math.abs(residual[i]) * inverseSigma[i];
      const tame = pull > HUBER_SIGMAS ? HUBER_SIGMAS / pull : 1;
      weight[i] = inverseSigma[i] * inverseSigma[i] * tame;
      cost += pull > HUBER_SIGMAS ? HUBER_SIGMAS * (2 * pull - HUBER_SIGMAS) : pull * pull;
      chi2 += pull * pull;
    }
  }
  const answer: StarAnswer = { star, flux, background, cost, chi2, pixels: count, reduced: null };
  if (images.derivatives.length > 0) answer.reduced = eliminate(images, index, value, residual, weight, flux);
  return answer;
}

function fluxAndBackground(
  value: Float64Array,
  electrons: Float64Array,
  weight: Float64Array,
): [number, number] {
  let s = 0;
  let sv = 0;
  let svv = 0;
  let se = 0;
  let sve = 0;
  for (let i = 0; i < value.length; i++) {
    const w = weight[i];
    const wv = w * value[i];
    s += w;
    sv += wv;
    svv += wv * value[i];
    se += w * electrons[i];
    sve += wv * electrons[i];
  }
  const determinant = s * svv - sv * sv;
  if (!(determinant > 0)) return [0, s > 0 ? se / s : 0];
  // A star is not dark: a negative flux would turn every derivative about.
  const flux = Math.max((s * sve - sv * se) / determinant, 1e-3 * Math.abs(se / s));
  return [flux, (se - flux * sv) / s];
}

function eliminate(
  images: StarImages,
  index: Int32Array,
  value: Float64Array,
  residual: Float64Array,
  weight: Float64Array,
  flux: number,
): StarAnswer['reduced'] {
  const count = index.length;
  const locals = images.derivatives.length - 2;
  const own = 4; // x, y, flux, background
  const all = locals + own;
  // Columns scaled by the root of the weights, so that all sums are plain dot products.
  const root = weight.map(Math.sqrt);
  const columns: Float64Array[] = [];
  for (const derivative of images.derivatives) {
    const column = new Float64Array(count);
    for (let i = 0; i < count; i++) column[i] = flux * derivative[index[i]] * root[i];
    columns.push(column);
  }
  columns.push(
    value.map((v, i) => v * root[i]),
    root,
  );
  const r = residual.map((v, i) => v * root[i]);
  const h = new Float64Array(all * all);
  const g = new Float64Array(all);
  for (let a = 0; a < all; a++) {
    g[a] = dot(columns[a], r);
    for (let b = 0; b <= a; b++) h[a * all + b] = h[b * all + a] = dot(columns[a], columns[b]);
  }
  const hss = new Float64Array(own * own);
  for (let a = 0; a < own; a++)
    for (let b = 0; b < own; b++)
      hss[a * own + b] = h[(locals + a) * all + locals + b] * (a === b ? 1 + 1e-9 : 1);
  const factor = choleskyFactor(hss, own);
  if (!factor) return null;
  const ownStep = choleskySolve(factor, g.subarray(locals));
  const answers = Array.from({ length: locals }, (_, a) =>
    choleskySolve(factor, h.subarray(a * all + locals, (a + 1) * all)),
  );
  const matrix = new Float64Array(locals * locals);
  const gradient = new Float64Array(locals);
  for (let a = 0; a < locals; a++) {
    gradient[a] = g[a];
    for (let k = 0; k < own; k++) gradient[a] -= h[a * all + locals + k] * ownStep[k];
    for (let b = 0; b < locals; b++) {
      let sum = h[a * all + b];
      for (let k = 0; k < own; k++) sum -= h[a * all + locals + k] * answers[b][k];
      matrix[a * locals + b] = sum;
    }
  }
  return {
    power: flux * flux * h[(all - 2) * all + all - 2],
    matrix,
    gradient,
    shift: [ownStep[0], ownStep[1]],
    shiftBy: [Float64Array.from(answers, (x) => x[0]), Float64Array.from(answers, (x) => x[1])],
  };
}

function dot(a: Float64Array, b: Float64Array): number {
  let even = 0;
  let odd = 0;
  let i = 0;
  for (; i + 1 < a.length; i += 2) {
    even += a[i] * b[i];
    odd += a[i + 1] * b[i + 1];
  }
  if (i < a.length) even += a[i] * b[i];
  return even + odd;
}
