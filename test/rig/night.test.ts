import { describe, expect, it } from 'vitest';
import { airmass, dispersionArcsec, refractionArcsec, refractivity } from '../../workers/rig/air.ts';
import { centralShare, erf, saturatingMagnitude, starElectronsPerS } from '../../workers/rig/photons.ts';
import {
  signalToNoise,
  skyRateFromNoise,
  stackPenalty,
  swampingExposureS,
  totalExposureS,
  whatBuysMost,
} from '../../workers/rig/sub-exposure.ts';
import {
  altazRotationArcsecPerS,
  fixedTrailArcsec,
  longestUnguidedS,
  periodicTrailArcsec,
  polarDrift,
  SIDEREAL_ARCSEC_PER_S,
  worstPolarDriftArcsecPerS,
} from '../../workers/rig/tracking.ts';

describe('sub-exposure', () => {
  it.each([
    // The CCD equation (Newberry 1991, PASP 103, 122), solved by hand for 2, 5 and 10 % more noise than the sky's.
    [0.02, 24.752475247524757],
    [0.05, 9.756097560975606],
    [0.1, 4.761904761904757],
  ])('excess %f', (excess, multiple) => {
    expect(swampingExposureS(1, 1, excess)).toBeCloseTo(multiple, 9);
  });
  it('is 43.9 s for 1.5 electrons against half an electron a second', () => {
    expect(swampingExposureS(1.5, 0.5, 0.05)).toBeCloseTo(43.9, 2);
  });
  it('costs a stack little', () => {
    // 60 subs of 60 s with the same numbers: sqrt((BT + nR²)/(BT + R²)), worked by hand.
    expect(stackPenalty(1.5, 0.5, 60, 60)).toBeCloseTo(1.03617, 5);
  });
  it('finds the sky in the noise of a frame', () => {
    // 4 electrons a second for 25 s and 2 electrons of read noise: variance 104.
    expect(skyRateFromNoise(Math.sqrt(104) / 0.8, 0.8, 2, 25)).toBeCloseTo(4, 10);
    expect(skyRateFromNoise(1, 1, 2, 25)).toBeNull();
  });
  it('undoes itself: the time for a signal-to-noise gives that signal-to-noise', () => {
    const target = { objectPerS: 0.2, skyPerS: 1.5, readNoise: 1.4, subS: 60 };
    expect(signalToNoise(target, totalExposureS(target, 10))).toBeCloseTo(10, 10);
    // Photon noise alone (textbook): SNR = sqrt(N).
    const photons = { objectPerS: 4, skyPerS: 0, readNoise: 0, subS: 60 };
    expect(totalExposureS(photons, 20)).toBeCloseTo(100, 10);
  });
  it('tells what each change buys, with the limits that follow from the CCD equation', () => {
    const factors = (target: Parameters<typeof whatBuysMost>[0]) =>
      Object.fromEntries(whatBuysMost(target).map(({ change, factor }) => [change, factor]));
    // Sky alone: T goes with B, so a magnitude less (10^-0.4) buys most; read noise does not matter.
    const sky = factors({ objectPerS: 1e-4, skyPerS: 20, readNoise: 0.1, subS: 60 });
    expect(Object.keys(sky)[0]).toContain('darker');
    expect(sky['a sky one magnitude darker']).toBeCloseTo(10 ** -0.4, 3);
    expect(sky['subs twice as long']).toBeCloseTo(1, 3);
    // Read noise alone: T goes with R²/t.
    const camera = factors({ objectPerS: 1e-4, skyPerS: 1e-4, readNoise: 10, subS: 10 });
    expect(camera['half the read noise']).toBeCloseTo(1 / 4, 3);
    expect(camera['subs twice as long']).toBeCloseTo(1 / 2, 3);
  });
});

describe('light of stars', () => {
  it('knows the error function', () => {
    // Abramowitz & Stegun, table 7.1.
    expect(erf(0.5)).toBeCloseTo(0.5204998778, 10);
    expect(erf(1)).toBeCloseTo(0.8427007929, 10);
    expect(erf(2)).toBeCloseTo(0.995322265, 9);
    expect(erf(4)).toBeCloseTo(0.9999999846, 10);
  });
  it('falls by a hundred in five magnitudes (Pogson)', () => {
    const from = { apertureMm: 100, obstruction: 0.3, bandNm: 300, efficiency: 0.5 };
    expect(starElectronsPerS(5, from) / starElectronsPerS(10, from)).toBeCloseTo(100, 9);
  });
  it('gives the brightest pixel of a wide star its peak', () => {
    // Limit of a broad Gaussian: 1 / (2πσ²).
    const sigma = 20;
    expect(centralShare(2.3548200450309493 * sigma) * 2 * Math.PI * sigma ** 2).toBeCloseTo(1, 3);
  });
  it('fills the well exactly at the limit', () => {
    const from = { apertureMm: 100, obstruction: 0, bandNm: 300, efficiency: 0.5 };
    const magnitude = saturatingMagnitude(30, 20000, 2, 2.5, from);
    expect(30 * (starElectronsPerS(magnitude, from) * centralShare(2.5) + 2)).toBeCloseTo(20000, 4);
  });
});

describe('tracking', () => {
  it('turns with the sky', () => {
    // IAU Earth rotation rate; per mean sidereal day 15.0410686″/s.
    expect(SIDEREAL_ARCSEC_PER_S).toBeCloseTo(15.0410672, 6);
    expect(fixedTrailArcsec(10, 0)).toBeCloseTo(150.411, 3);
    expect(fixedTrailArcsec(60, 60)).toBeCloseTo(451.232, 3);
    expect(fixedTrailArcsec(30, 45)).toBeCloseTo(319.069, 3);
  });
  it.each([
    // Rates per minute from a rotation of vectors about the wrong axis, computed apart.
    [1, 0, 50, -6, 0, 0.2625161452814513, 0, 0],
    [1, 0, 50, 0, 60, 0, -0.5250322905629025, 0.4546913014346063],
    [0, 1, 50, 0, 0, -0.16874212552958837, 0, 0],
    [0, 1, 50, -3, 60, -0.11931870123380361, -0.23863740246760715, 0.20666605283007902],
    [1, 2, 50, 2, 0, -0.423528007435138, -0.05860352518771486, 0],
    [1, 2, 50, 2, 60, -0.423528007435138, -0.1172070503754297, 0.10150428312776452],
    [5, 0, 50, 0, 0, 0, -1.3125807264072564, 0],
  ])('polar axis %d′ high, %d′ east', (high, east, latitude, hour, dec, north, turn, west) => {
    const drift = polarDrift(
      { highArcmin: high, eastArcmin: east },
      { latitudeDeg: latitude, hourAngleH: hour, declinationDeg: dec },
    );
    expect(drift.declinationArcsec).toBeCloseTo(north, 4);
    expect(drift.rotationArcsec).toBeCloseTo(turn, 4);
    expect(drift.hourAngleArcsec).toBeCloseTo(west, 4);
  });
  it('drifts by the published 15.7″ a minute per degree at most', () => {
    // Rule of the drift method, 2π/1440 per minute; 15.75 with the sidereal rate.
    expect(60 * worstPolarDriftArcsecPerS(60)).toBeCloseTo(15.75, 2);
  });
  it('trails with the worm', () => {
    // 10″ of amplitude, 480 s: 0.1309″/s at most (derivative of a sine), 7.65367″ in a minute.
    expect(periodicTrailArcsec(10, 480, 60)).toBeCloseTo(7.653668647, 8);
    expect(periodicTrailArcsec(10, 480, 1e-3) / 1e-3).toBeCloseTo(0.1308996939, 6);
    expect(periodicTrailArcsec(10, 480, 1000)).toBe(20);
    // The worst start, looked for by trying many.
    const path = (t: number) => 10 * Math.sin((2 * Math.PI * t) / 480);
    let worst = 0;
    for (let t = 0; t < 480; t += 0.25) worst = Math.max(worst, Math.abs(path(t + 60) - path(t)));
    expect(periodicTrailArcsec(10, 480, 60)).toBeCloseTo(worst, 3);
  });
  it('stops an exposure where worm and drift reach the limit', () => {
    expect(longestUnguidedS(2, 0, 480, 0.1)).toBeCloseTo(20, 6); // drift alone, elementary
    expect(longestUnguidedS(7.653668647301794, 10, 480, 0)).toBeCloseTo(60, 6);
    const t = longestUnguidedS(3, 10, 480, 0.02);
    expect(periodicTrailArcsec(10, 480, t) + 0.02 * t).toBeCloseTo(3, 6);
    expect(longestUnguidedS(30, 10, 480, 0)).toBe(Infinity);
  });
  it.each([
    // Published table of field rotation for Albireo from Pine Mountain Observatory, latitude 43.79°.
    [105.29147, 56.21803, 5.15],
    [123.96997, 66.10461, 14.977],
    [157.17472, 73.14114, 34.506],
    [203.97758, 73.02603, 33.982],
    [236.66825, 65.86339, 14.59],
    [255.09856, 55.93825, 4.985],
  ])('field rotation at azimuth %f', (azimuth, altitude, published) => {
    expect(Math.abs(altazRotationArcsecPerS(43.79, azimuth, altitude))).toBeCloseTo(published, 2);
  });
});

describe('air', () => {
  it.each([
    // Filippenko 1982, PASP 94, 715, table 1: arc seconds against 0.5 µm at 600 mmHg, 7 °C, 8 mmHg of vapour.
    [1.5, 0.4, 0.71],
    [1.5, 0.65, -0.5],
    [2, 0.4, 1.1],
    [2, 0.7, -0.92],
    [2.5, 0.35, 2.75],
    [2.5, 0.6, -0.77],
  ])('dispersion at sec z = %f and %f µm', (secant, wavelength, arcsec) => {
    const air = { pressureHpa: 600 / 0.750062, temperatureC: 7, vapourHpa: 8 / 0.750062 };
    const altitude = 90 - (Math.acos(1 / secant) * 180) / Math.PI;
    expect(Math.abs(dispersionArcsec(wavelength, 0.5, altitude, air) - arcsec)).toBeLessThan(0.006);
  });
  it('disperses as the reference library says', () => {
    // ERFA 2.0 (eraRefco), 0.4 to 0.7 µm at 45° and 30° of altitude, 1013.25 hPa, 10 °C, half humidity (6.14 hPa).
    // Its two-term law of dispersion differs from Edlén's by half a per cent over this range: 1 % is asked for.
    const air = { pressureHpa: 1013.25, temperatureC: 10, vapourHpa: 6.14 };
    expect(Math.abs(dispersionArcsec(0.4, 0.7, 45, air) / 1.4554 - 1)).toBeLessThan(0.01);
    expect(Math.abs(dispersionArcsec(0.4, 0.7, 30, air) / 2.5159 - 1)).toBeLessThan(0.01);
  });
  it.each([
    // Table in the source of ERFA's refco: 1005 hPa, 7 °C, 80 % (8.01 hPa), 0.574 µm.
    [80, 10.27],
    [60, 33.61],
    [45, 58.18],
    [30, 100.54],
    [20, 158.68],
  ])('refraction at %d°', (altitude, arcsec) => {
    const air = { pressureHpa: 1005, temperatureC: 7, vapourHpa: 8.01 };
    expect(Math.abs(refractionArcsec(altitude, 0.574, air) - arcsec)).toBeLessThan(0.15);
  });
  it('has Edlén’s refractivity in standard air', () => {
    // Filippenko's equation 1 at 15 °C and 760 mmHg, dry: 278.964e-6 at 0.5 µm; Ciddor 1996 gives 278.974e-6.
    const air = { pressureHpa: 1013.25, temperatureC: 15, vapourHpa: 0 };
    expect(1e6 * refractivity(0.5, air)).toBeCloseTo(278.97, 1);
  });
  it.each([
    // Pickering 2002, DIO 12, 3, as in the tests of a public library of solar positions.
    [90, 1.0000001961713372],
    [60, 1.1540579205733474],
    [30, 1.9931538464145713],
    [20, 2.9001430092029343],
    [10, 5.5807371486818935],
  ])('airmass at %d°', (altitude, mass) => {
    expect(airmass(altitude)).toBeCloseTo(mass, 6);
  });
});
