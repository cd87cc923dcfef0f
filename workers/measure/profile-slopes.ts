import type { Profile } from './profile.ts';
import { heightAt, slopeAt } from './wing-form.ts';

/** Parameters of a profile: height, base, place, curvature. */
export const FITTED = 7;

/**
 * How the profile at each place answers to its seven parameters, made orthonormal over the places (Gram-Schmidt, twice):
 * what a least-squares fit takes of any pattern of residuals is its projection on these. `rule` is the quadrature over
 * the pixel (offset x, y, weight). Row by row, seven columns; a column that the others make up is zero.
 */
export function fittedDirections(
  places: { x: number; y: number }[],
  profile: Profile,
  rule: number[][],
): Float64Array {
  const { amplitude, dx, dy, a, b, c } = profile;
  const columns = Array.from({ length: FITTED }, () => new Float64Array(places.length));
  places.forEach(({ x, y }, i) => {
    for (const [nodeX, nodeY, weight] of rule) {
      const u = x + nodeX - dx;
      const v = y + nodeY - dy;
      const q = a * u * u + 2 * c * u * v + b * v * v;
      const height = weight * heightAt(profile, q);
      // dI / dq
      const fall = q > 0 ? (-amplitude * height * slopeAt(profile, q)) / q : -amplitude * weight;
      const slopes = [
        height,
        weight,
        -2 * fall * (a * u + c * v),
        -2 * fall * (c * u + b * v),
        fall * u * u,
        fall * v * v,
        2 * fall * u * v,
      ];
      for (let j = 0; j < FITTED; j++) columns[j][i] += slopes[j];
    }
  });
  columns.forEach((column, j) => {
    const before = norm(column);
    for (let pass = 0; pass < 2; pass++)
      for (let k = 0; k < j; k++) {
        const share = dot(column, columns[k]);
        column.forEach((value, i) => (column[i] = value - share * columns[k][i]));
      }
    const left = norm(column);
    const scale = left > 1e-9 * before ? 1 / left : 0;
    column.forEach((value, i) => (column[i] = value * scale));
  });
  return Float64Array.from(
    { length: places.length * FITTED },
    (_, at) => columns[at % FITTED][Math.floor(at / FITTED)],
  );
}

const dot = (a: Float64Array, b: Float64Array) => a.reduce((sum, value, i) => sum + value * b[i], 0);
const norm = (a: Float64Array) => Math.sqrt(dot(a, a));
