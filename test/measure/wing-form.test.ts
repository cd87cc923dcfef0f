import { expect, test } from 'vitest';
import { halfHeight, heightAt, lightOf, slopeAt } from '../../workers/measure/wing-form.ts';
import { frameForm } from '../../workers/measure/wings.ts';

const FORMS = [
  { k: 0.28, wing: 0 },
  { k: 0.01, wing: 0 },
  { k: 0.14, wing: 0.07 },
  { k: 0.3, wing: 0.2 },
];

test.each(FORMS)('form %o: half height, light and slope are those of its own curve', (form) => {
  const half = halfHeight(form);
  expect(heightAt(form, 0)).toBe(1);
  // Newton's rule to rounding.
  expect(heightAt(form, half)).toBeCloseTo(0.5, 10);
  const h = 1e-5;
  const numeric = -Math.log(heightAt(form, half * (1 + h)) / heightAt(form, half * (1 - h))) / (2 * h);
  expect(slopeAt(form, half)).toBeCloseTo(numeric, 6);
  // The integral over q from 0 to infinity, q = x / (1 - x), by the midpoint rule: a few 1e-4.
  const steps = 400_000;
  let sum = 0;
  for (let i = 0; i < steps; i++) {
    const x = (i + 0.5) / steps;
    sum += heightAt(form, x / (1 - x)) / (1 - x) ** 2;
  }
  expect((Math.PI * sum) / steps / lightOf(form)).toBeCloseTo(1, 2);
});

test('equal stars give their exponent, and a wing only where it explains what the noise does not', () => {
  // Deviance surfaces with their lowest point at `best`; chi² falls with them to `least`.
  const star = (best: { k: number; wing: number }, least: number) => (form: { k: number; wing: number }) => {
    const off = form.wing - best.wing;
    const deviance = 4e3 * (form.k - best.k + 2 * off) ** 2 + 6e4 * off ** 2;
    return { deviance, chi2PerFreedom: least + deviance / 150 };
  };
  const frame = (best: { k: number; wing: number }, least: number) =>
    Array.from({ length: 20 }, () => star(best, least));
  const turbulent = frame({ k: 0.15, wing: 0.06 }, 1.02);
  expect(frameForm(turbulent, true).k).toBeCloseTo(0.15, 2);
  expect(frameForm(turbulent, true).wing).toBeCloseTo(0.06, 2);
  // Without the gain chi² says nothing.
  expect(frameForm(turbulent, false).wing).toBe(0);
  // A wing that leaves most of the misfit is none.
  expect(frameForm(frame({ k: 0.15, wing: 0.06 }, 5), true).wing).toBe(0);
  const moffat = frame({ k: 0.22, wing: 0 }, 1.01);
  expect(frameForm(moffat, true).wing).toBe(0);
  expect(frameForm(moffat, true).k).toBeCloseTo(0.22, 2);
});
