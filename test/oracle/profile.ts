import type { Sample } from './stamp.ts';

/** Where inside a pixel the profile is sampled, with weights that sum to one. */
export interface Node {
  x: number;
  y: number;
  weight: number;
}
/** The profile as the pixel sees it, or averaged over the pixel's area by a Gauss-Legendre rule of three by three. */
export const MIDDLE: Node[] = [{ x: 0, y: 0, weight: 1 }];
export const AREA: Node[] = [-Math.sqrt(0.15), 0, Math.sqrt(0.15)].flatMap((y, j, at) =>
  at.map((x, i) => ({ x, y, weight: ([5, 8, 5][i] * [5, 8, 5][j]) / 324 })),
);

/** A, B, x0, y0, a, b, c of I = A (1 + k q)^(-1/k) + B, q = a dx^2 + 2 c dx dy + b dy^2 (Moffat 1969, A&A 3, 455). */
export type ProfileParameters = [number, number, number, number, number, number, number];

/** The light of the star alone in a pixel. */
export function star(p: ProfileParameters, model: Model, dx: number, dy: number): number {
  const { nodes } = model;
  const [x, y] = [dx - p[2], dy - p[3]];
  const curvature: Curvature = [p[4], p[5], p[6]];
  if (nodes.length === 1) return p[0] * (heightAt(model, curvature, x, y) + beyond(model, curvature, x, y));
  let sum = 0;
  for (const node of nodes) sum += node.weight * heightAt(model, curvature, x + node.x, y + node.y);
  return p[0] * sum;
}

/** The profile itself at a point, without a pixel. */
export const profileAt = (p: ProfileParameters, model: Model, dx: number, dy: number): number =>
  p[0] * heightAt(model, [p[4], p[5], p[6]], dx - p[2], dy - p[3]);

type Curvature = [a: number, b: number, c: number];

function radial({ k, wing = 0 }: Model, q: number): number {
  return (1 - wing) * (1 + k * q) ** (-1 / k) + wing * (1 + WING * q) ** -2.5;
}

const heightAt = (model: Model, [a, b, c]: Curvature, x: number, y: number) =>
  radial(model, a * x * x + 2 * c * x * y + b * y * y);

/**
 * The pixel's mean over the middle, a twenty-fourth of the Laplacian, less what the same pixel's 1/12 px² make of the
 * profile when they are added to the moments of the Gaussian with its half-height contour: both by differences.
 */
function beyond(model: Model, curvature: Curvature, x: number, y: number): number {
  const step = 0.02;
  const bend = (at: (offset: number) => number) =>
    (16 * (at(step) + at(-step)) - at(2 * step) - at(-2 * step) - 30 * at(0)) / (12 * step ** 2);
  const blur =
    bend((u) => heightAt(model, curvature, x + u, y)) + bend((v) => heightAt(model, curvature, x, y + v));
  const share = 0.01;
  const at = (times: number) => widened(model, curvature, times * share, x, y);
  return blur / 24 - (8 * (at(1) - at(-1)) - at(2) + at(-2)) / (12 * share);
}

/** The profile with `share` of a pixel's moments more and the same light. */
function widened(model: Model, [a, b, c]: Curvature, share: number, x: number, y: number): number {
  const det = a * b - c * c;
  const s = halfHeight(model) / (2 * Math.LN2);
  const [xx, yy, xy] = [(s * b) / det + share / 12, (s * a) / det + share / 12, (-s * c) / det];
  const wide = xx * yy - xy * xy;
  const curvature: Curvature = [(s * yy) / wide, (s * xx) / wide, (-s * xy) / wide];
  const height = s / Math.sqrt(wide) / Math.sqrt(det);
  return height * heightAt(model, curvature, x, y);
}

const halves = new Map<string, number>();

/** q where the profile is half as high, by bisection. */
export function halfHeight(model: Model): number {
  const key = `${model.k} ${model.wing ?? 0}`;
  const known = halves.get(key);
  if (known !== undefined) return known;
  let [low, high] = [0, 10];
  for (let round = 0; round < 60; round++) {
    const middle = (low + high) / 2;
    if (radial(model, middle) > 0.5) low = middle;
    else high = middle;
  }
  halves.set(key, low);
  return low;
}

export interface Model {
  k: number;
  nodes: Node[];
  /** Share of the height in a wing of beta 2.5 and curvature WING in q. */
  wing?: number;
}
const WING = 0.25;

export interface Noise {
  skyVariance: number;
  unitsPerElectron: number;
}

/** A background expected at `expected` + `perHeight` A with a variance of 1 / certainty. */
export interface Prior {
  expected: number;
  perHeight: number;
  certainty: number;
}
export const FREE: Prior = { expected: 0, perHeight: 0, certainty: 0 };

/**
 * Plain version of the profile fit: the root of sum (data - model) / variance(model) * d model / d parameter, which is
 * the maximum of the likelihood of photon counts (McCullagh & Nelder 1989, Generalized Linear Models, 2.5). Scoring in
 * float64 with derivatives by central differences, to a step of 1e-8 standard errors. Start it close to the truth.
 * Where the profile is the one seen through the pixel, its derivatives are taken without what the pixel's mean adds: any
 * weights that do not depend on the data give an unbiased root, and these are all but the best.
 */
export function fitProfile(
  samples: Sample[],
  model: Model,
  noise: Noise,
  start: ProfileParameters,
  prior = FREE,
) {
  let p = [...start] as ProfileParameters;
  let current = score(samples, model, noise, p, prior);
  for (let round = 0; round < 300; round++) {
    const step = solve(current.fisher, current.gradient);
    // The squared length of the step in standard errors; long ones are cut to one standard error.
    const length2 = step.reduce((sum, s, i) => sum + s * current.gradient[i], 0);
    const share = Math.min(1, 1 / Math.sqrt(length2));
    p = p.map((value, i) => value + share * step[i]) as ProfileParameters;
    current = score(samples, model, noise, p, prior);
    if (length2 < 1e-16) break;
    if (round === 299) throw new Error('the plain fit did not settle');
  }
  const covariance = Array.from({ length: 7 }, (_, i) =>
    solve(
      current.fisher,
      Array.from({ length: 7 }, (_, j) => (i === j ? 1 : 0)),
    ),
  );
  return { parameters: p, covariance, chi2: current.chi2, deviance: current.deviance };
}

function score(
  samples: Sample[],
  model: Model,
  { skyVariance, unitsPerElectron }: Noise,
  p: ProfileParameters,
  prior: Prior,
) {
  const gradient = new Array<number>(7).fill(0);
  const fisher = Array.from({ length: 7 }, () => new Array<number>(7).fill(0));
  let chi2 = 0;
  let deviance = 0;
  const h = [1e-4 * p[0], 1, 1e-4, 1e-4, 1e-4 * p[4], 1e-4 * p[5], 1e-4 * Math.sqrt(p[4] * p[5])];
  for (const { dx, dy, value } of samples) {
    const light = star(p, model, dx, dy);
    const variance = skyVariance + unitsPerElectron * light;
    const residual = value - light - p[1];
    const slope = h.map((step, i) => {
      if (i === 1) return 1;
      if (i === 0) return light / p[0];
      const moved = (sign: number) => p.map((v, j) => (i === j ? v + sign * step : v)) as ProfileParameters;
      const shape = model.nodes.length === 1 ? profileAt : star;
      return (shape(moved(1), model, dx, dy) - shape(moved(-1), model, dx, dy)) / (2 * step);
    });
    slope.forEach((s, i) => {
      gradient[i] += (residual * s) / variance;
      slope.forEach((t, j) => (fisher[i][j] += (s * t) / variance));
    });
    chi2 += residual ** 2 / variance;
    deviance += residual ** 2 / variance + Math.log(variance);
  }
  // A measured background, as one more datum: its derivatives by A and B are perHeight and -1, up to the sign.
  const off = p[1] - prior.expected - prior.perHeight * p[0];
  const known = [prior.perHeight, -1];
  known.forEach((s, i) => {
    gradient[i] += prior.certainty * off * s;
    known.forEach((t, j) => (fisher[i][j] += prior.certainty * s * t));
  });
  return { gradient, fisher, chi2, deviance };
}

/** Solves a small system by elimination with pivots. */
export function solve(matrix: number[][], right: number[]): number[] {
  const n = right.length;
  const rows = matrix.map((row, i) => [...row, right[i]]);
  for (let i = 0; i < n; i++) {
    let best = i;
    for (let r = i + 1; r < n; r++) if (Math.abs(rows[r][i]) > Math.abs(rows[best][i])) best = r;
    [rows[i], rows[best]] = [rows[best], rows[i]];
    for (let r = 0; r < n; r++) {
      if (r === i) continue;
      const factor = rows[r][i] / rows[i][i];
      for (let c = i; c <= n; c++) rows[r][c] -= factor * rows[i][c];
    }
  }
  return rows.map((row, i) => row[n] / row[i]);
}

export interface RingWish {
  ringsPerPx: number;
  rings: number;
  /** Covariance of the Gaussian weight of the moments. */
  weight: { xx: number; yy: number; xy: number };
}

/** Plain version of the residual rings and weighted third moments, about the profile's centre. */
export function residualRings(samples: Sample[], model: Model, p: ProfileParameters, wish: RingWish) {
  const sums = new Float64Array(wish.rings);
  const counts = new Float64Array(wish.rings);
  const data = new Float64Array(wish.rings);
  const moments = new Float64Array(8);
  const { xx, yy, xy } = wish.weight;
  for (const { dx, dy, value } of samples) {
    const residual = value - p[1] - star(p, model, dx, dy);
    const [u, v] = [dx - p[2], dy - p[3]];
    const ring = Math.floor(Math.hypot(u, v) * wish.ringsPerPx);
    if (ring < wish.rings) {
      sums[ring] += residual;
      counts[ring]++;
      data[ring] += value - p[1];
      moments[6] += residual * u;
      moments[7] += residual * v;
    }
    const q = (yy * u * u - 2 * xy * u * v + xx * v * v) / (xx * yy - xy * xy);
    if (q > 20) continue;
    const w = residual * Math.exp(-q / 2);
    // Dipole z, then |z|^2 z and z^3 with z = u + iv.
    const z2 = [u * u - v * v, 2 * u * v];
    const r2 = u * u + v * v;
    [u, v, r2 * u, r2 * v, z2[0] * u - z2[1] * v, z2[0] * v + z2[1] * u].forEach(
      (term, i) => (moments[i] += w * term),
    );
  }
  return { sums, counts, data, moments };
}
