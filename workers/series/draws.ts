import { choleskyFactor, invertSymmetric } from '../math/linear.ts';
import type { MotionFit, Places } from './fit-motion.ts';
import { dot } from './least-squares.ts';
import { motionColumns, type Motion, type MotionSpec } from './motion-model.ts';
import { whiten } from './noise.ts';

/** Seeded numbers, so that the same run gives the same errors each time: a 32-bit Weyl sequence, mixed. */
export function seededNormals(seed: number): () => number {
  let state = seed >>> 0;
  const uniform = () => {
    state = (state + 0x9e3779b9) >>> 0;
    let z = state;
    z = Math.imul(z ^ (z >>> 16), 0x21f0aaad);
    z = Math.imul(z ^ (z >>> 15), 0x735a2d97);
    return ((z ^ (z >>> 15)) >>> 0) / 4294967296;
  };
  // Box & Muller 1958.
  return () => Math.sqrt(-2 * Math.log(1 - uniform())) * Math.cos(2 * Math.PI * uniform());
}

/**
 * Motions that the places allow as well: draws from the joint errors of all coefficients and periods. `held` is the
 * number of waves, from the first on, whose period is known. Null when the errors cannot be told.
 */
export function drawMotions(places: Places, fit: MotionFit, held: number, count: number): Motion[] | null {
  const { motion } = fit;
  const free = motion.spec.waves.map((_, i) => i).slice(held);
  const factor = jointFactor(places, fit, free);
  if (!factor) return null;
  const k = motion.x.length;
  const size = 2 * k + free.length;
  const normal = seededNormals(7);
  return Array.from({ length: count }, () => {
    const z = Float64Array.from({ length: size }, normal);
    const shift = z.map((_, i) => {
      let sum = 0;
      for (let j = 0; j <= i; j++) sum += factor[i * size + j] * z[j];
      return sum;
    });
    return {
      ...motion,
      x: motion.x.map((value, i) => value + shift[i]),
      y: motion.y.map((value, i) => value + shift[k + i]),
      spec: free.reduce(
        (spec, wave, i) => stretched(spec, wave, Math.max(0.2, 1 + shift[2 * k + i])),
        motion.spec,
      ),
    };
  });
}

/** The same with one period longer by a factor. */
const stretched = (spec: MotionSpec, wave: number, by: number): MotionSpec => ({
  ...spec,
  waves: spec.waves.map((each, i) => (i === wave ? { ...each, periodS: each.periodS * by } : each)),
});

const STEP = 1e-5;

/** Cholesky factor of the covariance of x's coefficients, y's, and the relative changes of the free periods. */
function jointFactor(places: Places, { motion, noise }: MotionFit, free: number[]): Float64Array | null {
  const { spec, x, y } = motion;
  const columns = motionColumns(spec, places);
  const bends = free.map((wave) => {
    const [less, more] = [-STEP, STEP].map((step) => motionColumns(stretched(spec, wave, 1 + step), places));
    const slope = (coefficients: Float64Array) =>
      Float64Array.from(places.midS, (_, row) =>
        columns.reduce(
          (sum, _, c) => sum + (coefficients[c] * (more[c][row] - less[c][row])) / (2 * STEP),
          0,
        ),
      );
    return [slope(x), slope(y)];
  });
  const white = whiten([...columns, ...bends.flat()], places.midS, places.own, noise).columns;
  const k = columns.length;
  const size = 2 * k + free.length;
  const zero = new Float64Array(places.midS.length);
  /** A parameter's effect on x and on y. */
  const effect = (p: number): [Float64Array, Float64Array] => {
    if (p < k) return [white[p], zero];
    if (p < 2 * k) return [zero, white[p - k]];
    return [white[k + 2 * (p - 2 * k)], white[k + 2 * (p - 2 * k) + 1]];
  };
  const normal = new Float64Array(size * size);
  for (let i = 0; i < size; i++)
    for (let j = 0; j <= i; j++) {
      const [p, q] = [effect(i), effect(j)];
      normal[i * size + j] = normal[j * size + i] = dot(p[0], q[0]) + dot(p[1], q[1]);
    }
  const scale = Float64Array.from({ length: size }, (_, i) => Math.sqrt(normal[i * size + i]));
  for (let i = 0; i < size; i++) for (let j = 0; j < size; j++) normal[i * size + j] /= scale[i] * scale[j];
  const covariance = invertSymmetric(normal, size);
  if (!covariance) return null;
  for (let i = 0; i < size; i++)
    for (let j = 0; j < size; j++) covariance[i * size + j] /= scale[i] * scale[j];
  return choleskyFactor(covariance, size);
}
