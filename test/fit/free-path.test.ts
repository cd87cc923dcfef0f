import { describe, expect, test } from 'vitest';
import { freePath, pathAxisDeg, pathExtentPx, pathMoments } from '../../workers/fit/free-path.ts';
import type { Legs } from '../../workers/fit/free-path.ts';
import { makePlan } from '../../workers/fit/plan.ts';
import { loadKernels } from '../../workers/wasm/kernels.ts';

const BENT: Legs = [
  [1.2, 0.3],
  [0.5, 1.4],
  [0, 0],
  [-0.6, 0.8],
];

/** Where the image is at many equal times, its mean taken out: the definition itself. */
function places(legs: Legs): [number, number][] {
  const each = 4000;
  const out: [number, number][] = [];
  let [x, y] = [0, 0];
  for (const [dx, dy] of legs) {
    for (let i = 0; i < each; i++) out.push([x + (dx * (i + 0.5)) / each, y + (dy * (i + 0.5)) / each]);
    [x, y] = [x + dx, y + dy];
  }
  const mean = [0, 1].map((axis) => out.reduce((sum, place) => sum + place[axis], 0) / out.length);
  return out.map(([u, v]) => [u - mean[0], v - mean[1]]);
}

describe('a path of four straight pieces', async () => {
  const optics = { focalRatio: 5, pixelUm: 4, obstruction: 0, wavelengthUm: 0.555 };
  const plan = makePlan(await loadKernels(), { optics, sidePx: 15, periodSides: 1.2, maxFrequency: 0.5 });

  test('has the transfer function of its places', () => {
    const { value } = freePath(plan, BENT, false);
    const walked = places(BENT);
    const { freqs, freqStride, step } = plan;
    for (const [side, a, b] of [
      [0, 0, 0],
      [0, 3, 2],
      [0, freqs - 1, 4],
      [1, 2, 5],
      [1, 6, freqs - 1],
    ]) {
      const [fx, fy] = [(side ? -b : b) * step, a * step];
      const mean = (turn: (phase: number) => number) =>
        walked.reduce((sum, [x, y]) => sum + turn(-2 * Math.PI * (fx * x + fy * y)), 0) / walked.length;
      const at = 2 * (side * freqs * freqStride + a * freqStride + b);
      // 4000 midpoints a piece: rounding is all that is left.
      expect(value[at]).toBeCloseTo(mean(Math.cos), 6);
      expect(value[at + 1]).toBeCloseTo(mean(Math.sin), 6);
    }
  });

  test('has the second moments of its places', () => {
    const walked = places(BENT);
    const mean = (of: (place: [number, number]) => number) =>
      walked.reduce((sum, place) => sum + of(place), 0) / walked.length;
    const { xx, xy, yy } = pathMoments(BENT);
    expect(xx).toBeCloseTo(
      mean(([x]) => x * x),
      6,
    );
    expect(xy).toBeCloseTo(
      mean(([x, y]) => x * y),
      6,
    );
    expect(yy).toBeCloseTo(
      mean(([, y]) => y * y),
      6,
    );
  });

  test('of equal pieces is a straight trail: a twelfth of its squared length, its own direction', () => {
    const straight: Legs = BENT.map(() => [0.9, 1.2]);
    const { xx, yy } = pathMoments(straight);
    expect(xx + yy).toBeCloseTo(6 ** 2 / 12, 9);
    expect(pathExtentPx(straight)).toBeCloseTo(6, 9);
    expect(pathAxisDeg(straight)).toBeCloseTo((Math.atan2(1.2, 0.9) * 180) / Math.PI, 9);
  });
});
