import { expect, test } from 'vitest';
import { invertSymmetric, solveSymmetric } from '../../workers/math/linear.ts';
import { axes, axisAngleDeg, elongationOf, mahalanobis2, width } from '../../workers/math/shape.ts';
import { createRandom } from '../../workers/simulate/random.ts';

test.each([1, 2, 7, 15])('a random positive definite system of %i equations is solved and inverted', (n) => {
  const random = createRandom(n);
  const g = Array.from({ length: n * n }, () => random.normal());
  const a = new Float64Array(n * n);
  for (let i = 0; i < n; i++)
    for (let j = 0; j < n; j++) {
      for (let k = 0; k < n; k++) a[i * n + j] += g[i * n + k] * g[j * n + k];
      if (i === j) a[i * n + j] += 0.1;
    }
  const x = Float64Array.from({ length: n }, () => random.normal());
  const b = new Float64Array(n);
  for (let i = 0; i < n; i++) for (let j = 0; j < n; j++) b[i] += a[i * n + j] * x[j];
  const solved = solveSymmetric(a, b)!;
  solved.forEach((value, i) => expect(value).toBeCloseTo(x[i], 8));
  const inverse = invertSymmetric(a, n)!;
  for (let i = 0; i < n; i++)
    for (let j = 0; j < n; j++) {
      let product = 0;
      for (let k = 0; k < n; k++) product += a[i * n + k] * inverse[k * n + j];
      expect(product).toBeCloseTo(i === j ? 1 : 0, 7);
    }
});

test('what is not positive definite is refused', () => {
  expect(solveSymmetric(Float64Array.of(1, 2, 2, 1), Float64Array.of(1, 1))).toBeNull();
  expect(invertSymmetric(Float64Array.of(0), 1)).toBeNull();
  expect(invertSymmetric(Float64Array.of(NaN), 1)).toBeNull();
});

test('shape of an ellipse: xx 7.75, yy 5.25, xy 2.165064 is A 3, B 2 at 30 degrees', () => {
  // Formulas and check values of Bertin & Arnouts 1996 (A&AS 117, 393): elongation 1.5, e = 5/13, e1 .192308, e2 .333086.
  const shape = { xx: 7.75, yy: 5.25, xy: 2.165064 };
  expect(axes(shape).major).toBeCloseTo(3, 5);
  expect(axes(shape).minor).toBeCloseTo(2, 5);
  expect(width(shape)).toBeCloseTo(Math.sqrt(6), 5);
  expect(elongationOf(5 / 13)).toBeCloseTo(1.5, 12);
  expect(axisAngleDeg(0.192308, 0.333086)).toBeCloseTo(30, 3);
  // On the ellipse itself the distance is 1: its major vertex lies at 3 (cos 30, sin 30).
  expect(mahalanobis2(shape, 3 * Math.cos(Math.PI / 6), 3 * Math.sin(Math.PI / 6))).toBeCloseTo(1, 5);
});

test('axes lie in [-90, 90): an upright one is -90', () => {
  expect(axisAngleDeg(-0.3, 0)).toBe(-90);
  expect(axisAngleDeg(-0.3, -1e-12)).toBeCloseTo(-90, 6);
  expect(axisAngleDeg(0.3, 0)).toBe(0);
  expect(axisAngleDeg(0, -0.3)).toBe(-45);
});
