import { describe, expect, it } from 'vitest';
import { analyticElectrons, analyticFrame, widthsThroughPixel } from '../../workers/simulate/analytic.ts';
import { radialProfile, type ProfileName } from '../../workers/simulate/profiles.ts';

const base = {
  widthPx: 61,
  heightPx: 61,
  skyElectrons: 0,
  readNoiseElectrons: 0,
  gainElectronsPerAdu: 1,
  offsetAdu: 0,
  seed: 1,
};

/** Volume and diameter that holds half of it, by Simpson's rule over radius to `reach` full widths. */
function radialWidths(profile: (r2: number) => number, reach: number, total: number) {
  const steps = 40_000;
  const h = reach / steps;
  let enclosed = 0;
  let hfd = NaN;
  for (let i = 0; i < steps; i++) {
    const [a, m, b] = [i * h, (i + 0.5) * h, (i + 1) * h];
    const ring = ((2 * Math.PI * h) / 6) * (a * profile(a * a) + 4 * m * profile(m * m) + b * profile(b * b));
    if (enclosed < total / 2 && enclosed + ring >= total / 2)
      hfd = 2 * (a + (h * (total / 2 - enclosed)) / ring);
    enclosed += ring;
  }
  return { enclosed, hfd };
}

describe('round profiles', () => {
  const cases: [ProfileName, number | undefined, number, string][] = [
    ['gaussian', undefined, 1, 'elementary: half-flux diameter = full width'],
    ['moffat', 2.5, 1.3559, 'Moffat 1969, encircled light 1-[1+(r/a)^2]^(1-beta)'],
    ['moffat', 3.5, 1.20783, 'Moffat 1969'],
    [
      'kolmogorov',
      undefined,
      1.13707,
      'half-light radius 0.554810, full width 0.975863 lambda/r0 (Racine 1996)',
    ],
  ];
  it.each(cases)('%s (beta %s): half at half a width, HFD/FWHM = %f', (name, beta, hfdOverFwhm) => {
    const profile = radialProfile(name, beta);
    expect(profile(0.25) / profile(0)).toBeCloseTo(0.5, name === 'kolmogorov' ? 5 : 12);
    expect(radialWidths(profile, 20, 1).hfd).toBeCloseTo(hfdOverFwhm, 4);
  });

  it('the Kolmogorov table meets its wing series, whose tail beyond 20 widths brings the volume to 1', () => {
    const profile = radialProfile('kolmogorov');
    const join = profile(7.9999 ** 2) / profile(8.0001 ** 2);
    expect(join).toBeCloseTo((8.0001 / 7.9999) ** (11 / 3), 4);
    // Leading wing term c r^(-11/3): its tail integral is 2 pi c R^(-5/3) / (5/3) = 1.2 pi R^2 profile(R).
    const tail = 1.2 * Math.PI * 400 * profile(400);
    expect(radialWidths(profile, 20, 1).enclosed + tail).toBeCloseTo(1, 5);
  });
});

describe('analytic frames', () => {
  const star = { xPx: 30.27, yPx: 29.61, fluxElectrons: 1 };

  it('conserves flux, position and second moments, the pixel adding 1/12 (Bertin & Arnouts 1996)', () => {
    const electrons = analyticElectrons({
      ...base,
      profile: 'gaussian',
      fwhmPx: 3,
      axisRatio: 1.5,
      angleDeg: 30,
      stars: [{ ...star, fluxElectrons: 1e9 }],
    });
    let [s, sx, sy] = [0, 0, 0];
    electrons.forEach((v, i) => {
      s += v;
      sx += v * (i % 61);
      sy += v * Math.floor(i / 61);
    });
    expect(s / 1e9).toBeCloseTo(1, 9);
    expect(sx / s).toBeCloseTo(30.27, 8);
    expect(sy / s).toBeCloseTo(29.61, 8);
    let [xx, yy, xy] = [0, 0, 0];
    electrons.forEach((v, i) => {
      const dx = (i % 61) - sx / s;
      const dy = Math.floor(i / 61) - sy / s;
      xx += (v * dx * dx) / s;
      yy += (v * dy * dy) / s;
      xy += (v * dx * dy) / s;
    });
    // sigma^2 along and across the axis, turned by 30 degrees: (a + b)/2 +- (a - b)/2 cos 60 etc.
    const sigma2 = 9 / (8 * Math.LN2);
    const [a, b] = [sigma2 * 1.5, sigma2 / 1.5];
    expect(xx).toBeCloseTo((a + b) / 2 + ((a - b) / 2) * 0.5 + 1 / 12, 4);
    expect(yy).toBeCloseTo((a + b) / 2 - ((a - b) / 2) * 0.5 + 1 / 12, 4);
    expect(xy).toBeCloseTo(((a - b) / 2) * Math.sqrt(0.75), 4);
  });

  it('sees a Gaussian through the pixel as the convolution with a square', () => {
    // Independent value: numerical convolution of a Gaussian of sigma 1 with a unit square by the error function;
    // half-peak contour traced with scipy.special.erf and scipy.optimize on 720 directions.
    expect(widthsThroughPixel({ profile: 'gaussian', fwhmPx: 2.354820045 }).fwhmPx).toBeCloseTo(2.454922, 3);
  });

  it('has Poisson noise of the sky plus read noise, over gain, about the offset', () => {
    const { pixels } = analyticFrame({
      ...base,
      widthPx: 400,
      heightPx: 400,
      profile: 'gaussian',
      fwhmPx: 2,
      stars: [],
      skyElectrons: 50,
      readNoiseElectrons: 3,
      gainElectronsPerAdu: 0.25,
      offsetAdu: 500,
    });
    const mean = pixels.reduce((a, b) => a + b, 0) / pixels.length;
    const variance = pixels.reduce((a, b) => a + (b - mean) ** 2, 0) / pixels.length;
    const expected = (50 + 9) * 16 + 1 / 12; // rounding to whole ADU adds 1/12
    const standardError = Math.sqrt(expected / pixels.length);
    expect(Math.abs(mean - 700)).toBeLessThan(4 * standardError);
    expect(Math.abs(variance / expected - 1)).toBeLessThan(4 * Math.sqrt(2 / pixels.length));
  });

  it('lays the filters of the mosaic where its name says, and repeats itself for one seed only', () => {
    const scene = {
      ...base,
      profile: 'moffat' as const,
      fwhmPx: 2,
      stars: [],
      skyElectrons: 1000,
      mosaic: 'GRBG' as const,
    };
    const sky = analyticElectrons(scene);
    expect([sky[0], sky[1], sky[61], sky[62]]).toEqual([1000, 600, 500, 1000]);
    expect(analyticFrame(scene).pixels).toEqual(analyticFrame(scene).pixels);
    expect(analyticFrame(scene).pixels).not.toEqual(analyticFrame({ ...scene, seed: 2 }).pixels);
  });
});
