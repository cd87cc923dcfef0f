import { expect, test } from 'vitest';
import { widenedNearFocus } from '../../workers/fit/estimates.ts';
import { fieldModel } from '../../workers/fit/model-report.ts';
import { P, PARAMETER_COUNT } from '../../workers/fit/parameters.ts';
import { createRandom } from '../../workers/simulate/random.ts';
import { fitOf } from '../support/fit-of.ts';

test('a defocus whose square is known with even errors: two standard errors hold the truth 19 times of 20', () => {
  // Normal errors of the square; 95.4 % lie within two standard errors (Abramowitz & Stegun, table 26.1).
  const random = createRandom(5);
  for (const sigmaOfSquare of [0.1, 0.3, 0.45]) {
    let inside = 0;
    let plain = 0;
    const draws = 4000;
    for (let i = 0; i < draws; i++) {
      const value = Math.sqrt(Math.max(1 + sigmaOfSquare * random.normal(), 1e-4));
      const sigma = sigmaOfSquare / (2 * value);
      if (Math.abs(value - 1) <= 2 * widenedNearFocus('focus', { value, sigma }).sigma) inside++;
      if (Math.abs(value - 1) <= 2 * sigma) plain++;
    }
    expect(inside / draws).toBeGreaterThan(0.94);
    expect(inside).toBeGreaterThanOrEqual(plain);
  }
});

test('odd terms and well known ones keep their error', () => {
  expect(widenedNearFocus('comaX', { value: 1, sigma: 0.3 }).sigma).toBe(0.3);
  expect(widenedNearFocus('focus', { value: 10, sigma: 0.1 }).sigma).toBeCloseTo(0.1, 2);
  expect(widenedNearFocus('focus', { value: 0, sigma: 2 }).sigma).toBe(2);
});

test('the length of a swing is no better known than its phase and period', () => {
  const [phase, lnPeriod, reach] = [0.4, 0.9, 5];
  const fit = fitOf({ motionX: reach, path1: phase, path2: lnPeriod }, ['motion'], { path: 'swing' });
  fit.covariance.fill(0);
  const sigma = 0.02;
  fit.covariance[P.path2 * PARAMETER_COUNT + P.path2] = sigma ** 2;
  /** Highest minus lowest place of sin(2 pi t / period + phase) during the exposure, from its definition. */
  const extent = (ln: number) => {
    const places = Array.from({ length: 4001 }, (_, i) =>
      Math.sin((2 * Math.PI * (i / 4000)) / Math.exp(ln) + phase),
    );
    return Math.max(...places) - Math.min(...places);
  };
  const { lengthPx } = fieldModel(fit).motion;
  expect(lengthPx!.value).toBeCloseTo(reach * extent(lnPeriod), 2);
  const moved = (reach * (extent(lnPeriod + sigma) - extent(lnPeriod - sigma))) / 2;
  expect(Math.abs(moved)).toBeGreaterThan(0.03);
  expect(lengthPx!.sigma).toBeCloseTo(Math.abs(moved), 2);
});
