import { describe, expect, test } from 'vitest';
import { BaseExpectation, strays, type FreeFit } from '../../workers/measure/base-prior.ts';
import type { Profile } from '../../workers/measure/profile.ts';
import { analyticFrame, widthsThroughPixel } from '../../workers/simulate/analytic.ts';
import { createRandom } from '../../workers/simulate/random.ts';
import { measureFrame, pairUp, rowsOf } from '../support/star-frames.ts';

const SIGMA = 10;
const target = (height: number, roughness = 0.5) => ({
  xPx: 0,
  yPx: 0,
  level: 1000,
  sigma: SIGMA,
  neighbours: [],
  roughness,
  heightGuess: height,
});

/** Fits whose backgrounds are 0.4 + 0.003 A with a scatter of `stray` beyond their own error of 0.7. */
function drawn(count: number, stray: number, seed: number): FreeFit[] {
  const random = createRandom(seed);
  return Array.from({ length: count }, (_, i) => {
    const amplitude = 40 * 10 ** ((2 * i) / count);
    const base = 0.4 + 0.003 * amplitude + Math.hypot(stray, 0.7) * random.normal();
    const profile = { amplitude, base, errors: { base: 0.49 } } as unknown as Profile;
    return { target: target(amplitude), profile };
  });
}

describe('what is expected of a background', () => {
  test('offset and share of the height are found again, and the scatter with them', () => {
    // Means over 20 draws of 90 stars. Least squares: the height's share is known to 0.0001 in each.
    const draws = Array.from({ length: 20 }, (_, seed) =>
      new BaseExpectation(drawn(90, 1.5, seed)).at(target(60))!,
    );
    const mean = (pick: (prior: (typeof draws)[number]) => number) =>
      draws.reduce((sum, prior) => sum + pick(prior), 0) / draws.length;
    expect(Math.abs(mean(({ expected }) => expected) - 0.4)).toBeLessThan(0.2);
    expect(Math.abs(mean(({ perHeight }) => perHeight) - 0.003)).toBeLessThan(0.0003);
    // 1.5, and some 0.25 for the line's own error; a scatter from 45 stars is good to a tenth.
    const scatter = Math.sqrt(mean(({ certainty }) => 1 / certainty));
    expect(scatter).toBeGreaterThan(1.3);
    expect(scatter).toBeLessThan(1.8);
  });

  test('where the sky is rougher than usual it is trusted less; where it is smoother no more', () => {
    const expectation = new BaseExpectation(drawn(90, 0.3, 4));
    const certainty = (roughness: number) => expectation.at(target(60, roughness))!.certainty;
    expect(certainty(0.1)).toBe(certainty(0.5));
    // A roughness of 3 for one of 0.5: sqrt(9 - 0.25) more in the scatter.
    expect(1 / certainty(3) - 1 / certainty(0.5)).toBeCloseTo(8.75, 6);
  });

  test('a handful of stars says nothing', () => {
    expect(new BaseExpectation(drawn(8, 0.3, 2)).at(target(60))).toBeUndefined();
  });

  test('a fit strays when its free background would lie three errors off', () => {
    // A free background at r with variance v, drawn to 0 by a prior of variance t, ends at r t / (v + t) +- sqrt(v t / (v + t)).
    const [v, t] = [0.5, 0.3];
    const fitted = (r: number) =>
      ({
        amplitude: 100,
        base: (r * t) / (v + t),
        errors: { base: (v * t) / (v + t), amplitudeBase: 0, amplitude: 1 },
      }) as unknown as Profile;
    const prior = { expected: 0, perHeight: 0, certainty: 1 / t };
    const limit = 3 * Math.sqrt(v + t);
    expect(strays(fitted(0.98 * limit), prior)).toBe(false);
    expect(strays(fitted(-1.02 * limit), prior)).toBe(true);
  });
});

test('over patchy nebulosity the widths of faint stars keep their mean and their errors', async () => {
  // Waves of 40 px and twice the noise: the mesh of 64 px cells cannot follow them.
  const shape = { profile: 'moffat' as const, beta: 3, fwhmPx: 3.5 };
  const [cols, rows, cell] = [18, 14, 40];
  const places = Array.from({ length: cols * rows }, (_, n) => ({
    xPx: ((n % cols) + 0.5) * cell + ((0.377 * n) % 1),
    yPx: (Math.floor(n / cols) + 0.5) * cell + ((0.713 * n) % 1),
    fluxElectrons: n % 9 === 0 ? 60_000 : 6000,
  }));
  const frame = analyticFrame({
    ...shape,
    widthPx: cols * cell,
    heightPx: rows * cell,
    stars: places,
    skyElectrons: 60,
    readNoiseElectrons: 2,
    gainElectronsPerAdu: 0.8,
    offsetAdu: 400,
    seed: 9,
  });
  const random = createRandom(5);
  const wave = Array.from({ length: 6 }, () => {
    const angle = 2 * Math.PI * random.uniform();
    return { u: Math.cos(angle) / 40, v: Math.sin(angle) / 40, phase: random.uniform() };
  });
  frame.pixels.forEach((value, i) => {
    const [x, y] = [i % frame.widthPx, Math.floor(i / frame.widthPx)];
    const light = wave.reduce(
      (sum, { u, v, phase }) => sum + Math.sin(2 * Math.PI * (u * x + v * y + phase)),
      0,
    );
    frame.pixels[i] = Math.round(value + 10 * light);
  });
  const { stars } = await measureFrame(frame, [['EGAIN', 0.8]]);
  const { pairs } = pairUp(places, rowsOf(stars));
  const truth = widthsThroughPixel(shape).fwhmPx;
  const faint = pairs.map(({ found }) => found).filter(({ flags, snr }) => flags.length === 0 && snr < 100);
  expect(faint.length).toBeGreaterThan(150);
  const sorted = faint.map(({ fwhmPx }) => fwhmPx / truth - 1).sort((a, b) => a - b);
  // A free background keeps the mean within 2 % here; one held to the mesh would not know its errors.
  expect(Math.abs(sorted[sorted.length >> 1])).toBeLessThan(0.03);
  const pulls = faint.map(({ fwhmPx, fwhmSigmaPx }) => Math.abs(fwhmPx - truth) / fwhmSigmaPx);
  const beyond = pulls.filter((pull) => pull > 3).length / pulls.length;
  expect(beyond).toBeLessThan(0.1);
});
