import { invertSymmetric, solveSymmetric } from '../math/linear.ts';
import { median, quantile } from '../math/robust.ts';
import type { FocusAstigmatism } from '../protocol/focus-run.ts';
import type { Estimate } from '../protocol/report.ts';
import { defocusAt, P, type FocusModel } from './focus-model.ts';
import type { FocusSamples } from './focus-samples.ts';

const UNKNOWNS = 6;
const CAUCHY = 2.385;

/** Distortions are told no better than this. */
const LEAST_SIGMA = 0.01;

/**
 * Astigmatism from the shapes: with tangential and sagittal foci a distance D apart the variances along and across are
 * g (z - D/2)² + a and g (z + D/2)² + a, g = (1+ε²)/4 of the square of the disc's radius, so that half of their difference is
 * -g z D: it turns by a right angle through focus. Second moments of convolved images add, so what does not change its sign
 * there (coma, trailing) is fitted beside it, however large: the same everywhere, or along the radius and growing with its
 * square. D is fitted as the same everywhere plus a part along the radius growing with its square. `umPerStep` is signed;
 * null when shapes are too few.
 */
export function focusAstigmatism(
  model: FocusModel,
  theta: Float64Array,
  s: FocusSamples,
  umPerStep: number,
): FocusAstigmatism | null {
  const rows: { terms: number[]; value: number; sigma: number }[] = [];
  const growth =
    ((1 + model.obstruction ** 2) / 4) * (model.law.discRadiusPx * Math.exp(theta[P.lnScale])) ** 2;
  const least = quantile(
    s.rmsPx.map((rms) => rms ** 2),
    0.1,
  );
  for (let i = 0; i < s.count; i++) {
    const [x, y] = [s.x[i], s.y[i]];
    const variance = s.rmsPx[i] ** 2;
    if (!(variance > 0) || !Number.isFinite(s.e1[i] + s.e2[i] + s.eSigma[i])) continue;
    const z = defocusAt(theta, model.positions[s.frame[i]], x, y);
    const turn = -growth * z;
    const [along, beside] = [x * x - y * y, 2 * x * y];
    // By the size expected: a star's own would give the small ones of its errors more weight.
    const sigma = (least + growth * z * z) * Math.hypot(s.eSigma[i], LEAST_SIGMA);
    const [q1, q2] = [variance * s.e1[i], variance * s.e2[i]];
    rows.push({ terms: [1, 0, along, turn, 0, turn * along], value: q1, sigma });
    rows.push({ terms: [0, 1, beside, 0, turn, turn * beside], value: q2, sigma });
  }
  const fit = rows.length > 4 * UNKNOWNS ? robustLinear(rows) : null;
  if (!fit) return null;
  const { value, covariance } = fit;
  const estimate = (k: number): Estimate => ({
    value: value[k] * umPerStep,
    sigma: Math.sqrt(covariance[k * UNKNOWNS + k]) * Math.abs(umPerStep),
  });
  const [c, d] = [estimate(3), estimate(4)];
  const size = Math.hypot(c.value, d.value);
  const sigma =
    size > 0 ? Math.hypot(c.value * c.sigma, d.value * d.sigma) / size : Math.max(c.sigma, d.sigma);
  const across = size > 0 ? Math.hypot(c.value * d.sigma, d.value * c.sigma) / size : sigma;
  // Behind focus the star is long across the direction whose focus lies farther: along -D.
  const degrees = (Math.atan2(-d.value, -c.value) * 90) / Math.PI;
  return {
    constantUm: { value: size, sigma },
    angleDeg: {
      value: degrees >= 90 ? degrees - 180 : degrees,
      sigma: Math.min(52, (Math.atan2(across, size) * 90) / Math.PI),
    },
    cornerTangentialMinusSagittalUm: estimate(5),
  };
}

/** Least squares with Cauchy's weights about the scatter found. */
function robustLinear(rows: { terms: number[]; value: number; sigma: number }[]) {
  let value = new Float64Array(UNKNOWNS);
  let spread = 1;
  let covariance: Float64Array | null = null;
  for (let round = 0; round < 12; round++) {
    const normal = new Float64Array(UNKNOWNS * UNKNOWNS);
    const right = new Float64Array(UNKNOWNS);
    for (const { terms, value: seen, sigma } of rows) {
      const off = seen - terms.reduce((sum, term, k) => sum + term * value[k], 0);
      const weight = 1 / (1 + (off / sigma / spread / CAUCHY) ** 2) / (sigma * spread) ** 2;
      for (let k = 0; k < UNKNOWNS; k++) {
        right[k] += weight * terms[k] * seen;
        for (let l = 0; l < UNKNOWNS; l++) normal[k * UNKNOWNS + l] += weight * terms[k] * terms[l];
      }
    }
    const next = solveSymmetric(normal, right);
    if (!next) return null;
    value = Float64Array.from(next);
    covariance = invertSymmetric(normal, UNKNOWNS);
    const off = rows.map(
      (row) => Math.abs(row.value - row.terms.reduce((sum, term, k) => sum + term * value[k], 0)) / row.sigma,
    );
    spread = Math.max(0.5, median(off) / 0.6745);
  }
  return covariance ? { value, covariance } : null;
}
