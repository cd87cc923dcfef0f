import { expect, test } from 'vitest';
import { cramerRao } from '../../bench/precision/fisher.ts';
import { fluxFor, READ_ELECTRONS, SKY_ELECTRONS, truthOf } from '../../bench/precision/frame.ts';

/**
 * Position and distortion of a well-sampled round Gaussian: var x = s²/(N J1), var e = 2/(N J2), with
 * J_k = integral of u^k exp(-u) / (1 + b exp(u)), b = 2 pi s² B / N (handbook of noise 9.2, derived there and checked by
 * simulation: N = 10^4, s = 2, B = 10 gives 0.022519 and 0.012522). Neither mixes with the background's level.
 */
function closedForm(s: number, electrons: number, background: number) {
  const b = (2 * Math.PI * s * s * background) / electrons;
  const integral = (k: number) => {
    let sum = 0;
    const step = 0.001;
    for (let u = step / 2; u < 60; u += step) sum += (u ** k * Math.exp(-u) * step) / (1 + b * Math.exp(u));
    return sum;
  };
  return { position: s / Math.sqrt(electrons * integral(1)), e: Math.sqrt(2 / (electrons * integral(2))) };
}

test('the closed form gives the published check values', () => {
  expect(closedForm(2, 1e4, 10).position).toBeCloseTo(0.022519, 5);
  expect(closedForm(2, 1e4, 10).e).toBeCloseTo(0.012522, 5);
  expect(closedForm(2, 1e4, 1000).position).toBeCloseTo(0.068587, 4);
});

test.each([10, 100, 1000])('the numerical bound of an 8 px Gaussian at SNR %i is the closed form', (snr) => {
  const wish = { profile: 'gaussian' as const, fwhmPx: 8, axisRatio: 1, snr, mosaic: null };
  const bound = cramerRao(wish, 0.01);
  const s = truthOf(wish).fwhmPx / Math.sqrt(8 * Math.LN2);
  const background = SKY_ELECTRONS + READ_ELECTRONS ** 2;
  const want = closedForm(s, fluxFor(snr, truthOf(wish).fwhmPx, 1), background);
  // 8 px wide, the pixel is all but a Gaussian of its own variance; the stamp ends at 4.5 widths.
  expect(bound.positionPx / want.position).toBeCloseTo(1, 2);
  expect(bound.e / want.e).toBeCloseTo(1, 2);
});

test('a mosaic leaves half of the pixels: the same star has errors larger by the root of two', () => {
  const wish = { profile: 'moffat' as const, beta: 3, fwhmPx: 4, axisRatio: 1 };
  const mono = cramerRao({ ...wish, snr: 100, mosaic: null }, 0.5);
  const mosaic = cramerRao({ ...wish, snr: 100 / Math.SQRT2, mosaic: 'RGGB' }, 0.5);
  expect(mosaic.positionPx / mono.positionPx).toBeCloseTo(Math.SQRT2, 1);
  expect(mosaic.fwhm / mono.fwhm).toBeCloseTo(Math.SQRT2, 1);
  expect(mosaic.e / mono.e).toBeCloseTo(Math.SQRT2, 1);
});
