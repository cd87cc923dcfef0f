import { describe, expect, it } from 'vitest';
import {
  comaElongation,
  comaVariances,
  halfDiagonalMm,
  heightOfComaMm,
  largestSensorMm,
  sagittalComaUm,
  tangentialComaUm,
} from '../../workers/rig/coma.ts';
import {
  airyBlurHalfUm,
  defocusBlurUm,
  defocusVarianceUm2,
  focusWanderUmPerK,
  quarterWaveHalfUm,
  seeingHalfUm,
} from '../../workers/rig/depth-of-focus.ts';
import { diffractionFwhm, firstDarkRadius } from '../../workers/rig/diffraction.ts';
import {
  astigmaticBlurUm,
  curvatureBlurUm,
  mirrorFieldRadiusMm,
  sagMm,
} from '../../workers/rig/field-curvature.ts';
import { glassShiftMm, glassSphericalUm, marginalShiftMm } from '../../workers/rig/filter-glass.ts';
import {
  expectedFwhmPx,
  fieldDeg,
  nyquistPixelUm,
  scaleArcsecPerPx,
  seeingAt,
} from '../../workers/rig/image-scale.ts';
import { equalExposureS, speedRatio } from '../../workers/rig/speed.ts';
import {
  sphereBlurUm,
  sphereErrorUm,
  sphereFocusSpreadMm,
  sphereGoodRatio,
} from '../../workers/rig/sphere.ts';
import { screwHeightsUm, tiltHeightUm, tolerableTiltDeg } from '../../workers/rig/tilt.ts';

const ARCSEC = 206264.806;

describe('scale and sampling', () => {
  it('gives image scale and field', () => {
    // Elementary angles, worked by hand: 206.264806 * 3.76 / 400 and 2 atan(w / 2f).
    expect(scaleArcsecPerPx(3.76, 400)).toBeCloseTo(1.9388891787, 8);
    expect(fieldDeg(23.5, 400)).toBeCloseTo(3.3651593475, 8);
    expect(fieldDeg(15.7, 400)).toBeCloseTo(2.2485707036, 8);
  });
  it('puts the Nyquist pixel at half the period of the cut-off', () => {
    // Textbook Fourier optics: cut-off 1/(λF) = 454.5 cycles per mm at f/4 and 0.55 µm.
    expect(nyquistPixelUm(0.55, 4)).toBeCloseTo(1.1, 12);
    expect(1000 / (2 * nyquistPixelUm(0.55, 4))).toBeCloseTo(454.5454545, 6);
  });
  it('adds widths as variances', () => {
    // A Gaussian of 2.3548 px through a unit pixel: variance 1 + 1/12 (Bertin & Arnouts 1996 for the 1/12).
    expect(expectedFwhmPx(2.3548200450309493 * 3, 0, 3)).toBeCloseTo(
      2.3548200450309493 * Math.sqrt(13 / 12),
      10,
    );
  });
  it('scales seeing with airmass and colour', () => {
    // Fried 1966: 2.0″ overhead is 3.0314″ at airmass 2; 500 nm to 700 nm is a factor 0.93492.
    expect(seeingAt(2, 2)).toBeCloseTo(3.031433133, 8);
    expect(seeingAt(1, 1, 0.7) / seeingAt(1, 1, 0.5)).toBeCloseTo(0.93492, 5);
  });
});

describe('speed', () => {
  it('goes with the square of the focal ratio', () => {
    // Elementary: (5/4)² = 25/16, and so 100 s become 64 s.
    expect(speedRatio(4, 5)).toBe(1.5625);
    expect(equalExposureS(4, 5, 100)).toBeCloseTo(64, 12);
    expect(equalExposureS(4, 5, 125)).toBeCloseTo(80, 12);
  });
});

describe('coma of a single mirror', () => {
  it.each([
    // Schroeder, Astronomical Optics, ch. 5-6: tangential coma 3θ/16F² on the sky.
    [4, 0.025, 60.42914245520402],
    [4, 0.0025, 6.042914245520401],
    [5, 0.01, 15.469860468532225],
    [3, 0.008726646259971648, 37.5],
  ])('f/%d at %f rad', (ratio, angle, arcsec) => {
    const focalMm = 1000;
    const onSky = (tangentialComaUm(angle * focalMm, ratio) / (1000 * focalMm)) * ARCSEC;
    expect(onSky).toBeCloseTo(arcsec, 4);
  });
  it('reaches 38 µm in the corner of a 5.6 x 3.2 mm sensor at f/4', () => {
    expect(tangentialComaUm(halfDiagonalMm(5.6, 3.2), 4)).toBeCloseTo(37.79, 2);
    expect(heightOfComaMm(37.79, 4)).toBeCloseTo(halfDiagonalMm(5.6, 3.2), 3);
  });
  it('is as long as the Airy disc is wide at 0.458 mm from the axis of an f/4', () => {
    // Follows from both textbook formulas: h = 13.013 λF³.
    expect(heightOfComaMm(2.44 * 0.55 * 4, 4)).toBeCloseTo(0.4580693333, 8);
  });
  it('spreads stars as rays through a paraboloid do', () => {
    // Rays traced here through the mirror itself, stop at the mirror, at the medial focus.
    // f/4, 3 mm off axis; third order lacks 1 % of the variance there.
    for (const obstruction of [0, 0.3]) {
      const rays = traceParaboloid(100, 400, obstruction, 3);
      const cs = sagittalComaUm(3, 4);
      const { along, across } = comaVariances(obstruction);
      expect(rays.along / (along * cs ** 2)).toBeGreaterThan(0.98);
      expect(rays.along / (along * cs ** 2)).toBeLessThan(1.04);
      expect(rays.across / (across * cs ** 2)).toBeGreaterThan(0.98);
      expect(rays.across / (across * cs ** 2)).toBeLessThan(1.04);
    }
  });
  it('elongates to sqrt(3) when nothing else blurs, and to nothing when all else does', () => {
    // Variances 1/2 and 1/6 of the pure spot.
    expect(comaElongation(5, 0, 0)).toBeCloseTo(Math.sqrt(3), 12);
    expect(comaElongation(5, 5000, 0)).toBeCloseTo(1, 6);
  });
  it('fits the largest sensor into the circle', () => {
    const { widthMm, heightMm } = largestSensorMm(5, 0.75);
    expect([widthMm, heightMm]).toEqual([8, 6]); // the 3-4-5 triangle
  });
});

describe('depth of focus', () => {
  it.each([
    // Rayleigh's quarter wave 2λF² and 2.44 λF², worked for 0.55 µm.
    [4, 17.6, 21.472],
    [5, 27.5, 33.55],
    [8, 70.4, 85.888],
  ])('f/%d', (ratio, quarter, airy) => {
    expect(quarterWaveHalfUm(0.55, ratio)).toBeCloseTo(quarter, 9);
    expect(airyBlurHalfUm(0.55, ratio)).toBeCloseTo(airy, 9);
  });
  it('blurs into a disc', () => {
    // 50 µm at f/4 behind an annulus of 0.3: 12.5 µm wide, rms 3.2626 µm per axis (moments of a uniform annulus).
    expect(defocusBlurUm(-50, 4)).toBe(12.5);
    expect(Math.sqrt(defocusVarianceUm2(50, 4, 0.3))).toBeCloseTo(3.262595784, 8);
  });
  it('widens a star by the chosen part at the edge of the depth', () => {
    // Independent of the formula's algebra: variances added back.
    const [fwhm, ratio, obstruction] = [6, 5, 0.33];
    const half = seeingHalfUm(fwhm, ratio, obstruction, 0.1);
    const sigma2 = (fwhm / 2.3548200450309493) ** 2;
    expect(Math.sqrt((sigma2 + defocusVarianceUm2(half, ratio, obstruction)) / sigma2)).toBeCloseTo(1.1, 10);
  });
  it('follows the temperature of the tube', () => {
    // 23 µm per metre and kelvin for aluminium (table value from memory).
    expect(focusWanderUmPerK('aluminium', 1000)).toBeCloseTo(23, 9);
  });
});

describe('diffraction of an annulus', () => {
  it.each([
    // ε, FWHM and first dark radius in λ/D; 1.028994 is the known constant of the open circle, the others were
    // integrated numerically with SciPy's Bessel functions.
    [0, 1.029, 1.2197],
    [0.1, 1.0233, 1.2051],
    [0.2, 1.0068, 1.1665],
    [0.25, 0.9949, 1.1416],
    [0.3, 0.9811, 1.1145],
    [0.35, 0.9656, 1.0863],
    [0.4, 0.9486, 1.0577],
    [0.5, 0.9117, 1.0009],
  ])('ε = %f', (obstruction, fwhm, dark) => {
    expect(diffractionFwhm(obstruction)).toBeCloseTo(fwhm, 3);
    expect(Math.abs(firstDarkRadius(obstruction) - dark)).toBeLessThan(1e-4);
  });
});

describe('focal surface, tilt, glass', () => {
  it('knows sag and blur of a curved field', () => {
    // R = 400 mm, h = 14.13 mm: exact sag 0.249649 mm, blur 62.4 µm at f/4 (elementary geometry).
    const sag = sagMm(14.13, 400);
    expect(sag).toBeCloseTo(400 - Math.sqrt(400 ** 2 - 14.13 ** 2), 9);
    const blur = curvatureBlurUm(14.13 ** 2 / 800, 4);
    expect(blur.centreFocusedUm).toBeCloseTo(62.39278, 4);
    expect(blur.sharedUm).toBeCloseTo(31.19639, 4);
  });
  it('bends the field of a mirror with its focal length and knows its astigmatism', () => {
    // Schroeder ch. 5-6 (medial surface h²/2f) and Handbook of Optics (h²/2fF): 0.125 mm at 10 mm; 61.25 µm at 14 mm.
    expect(10 ** 2 / (2 * mirrorFieldRadiusMm(400))).toBe(0.125);
    expect(astigmaticBlurUm(14, 400, 4)).toBeCloseTo(61.25, 9);
  });
  it('turns tilt into heights and back', () => {
    // 0.1° over 23.5 mm is 41.015 µm; 1′ over 36 mm is 10.472 µm (elementary).
    expect(tiltHeightUm(23.5, 0.1)).toBeCloseTo(41.015279, 5);
    expect(tiltHeightUm(36, 1 / 60)).toBeCloseTo(10.472, 3);
    expect(tolerableTiltDeg(23.5, 41.015279068436804 / 2)).toBeCloseTo(0.1, 10);
    const screws = screwHeightsUm(30, 0.1, 0);
    expect(screws[0]).toBeCloseTo(52.359930725664, 8);
    expect(screws[1]).toBeCloseTo(-26.179965362832, 8);
    expect(screws[0] + screws[1] + screws[2]).toBeCloseTo(0, 9);
  });
  it('moves the focus by a plate', () => {
    // Plane plate t(1 - 1/n), textbook; n = 1.6 gives 0.375 t.
    expect(glassShiftMm(2, 1.5168)).toBeCloseTo(0.6814345992, 9);
    expect(glassShiftMm(3, 1.52)).toBeCloseTo(1.0263157895, 9);
    expect(glassShiftMm(1, 1.6)).toBeCloseTo(0.375, 12);
    expect(marginalShiftMm(2, 1.5168, 4)).toBeCloseTo(0.68722, 5);
    expect(marginalShiftMm(2, 1.5168, 2)).toBeCloseTo(0.70413, 5);
    expect(glassSphericalUm(2, 1.5168, 4)).toBeCloseTo(0.0227492, 6);
  });
});

describe('spherical mirror', () => {
  it('agrees with rays reflected by a sphere', () => {
    // Snell's mirror law in the plane of the axis, D = 114 mm, f = 900 mm; third order is good to D²/R² there.
    const [apertureMm, focalMm] = [114, 900];
    const radius = 2 * focalMm;
    const focusOf = (height: number) => radius - radius / (2 * Math.cos(Math.asin(height / radius)));
    const spread = focalMm - focusOf(apertureMm / 2);
    expect(sphereFocusSpreadMm(apertureMm, focalMm / apertureMm) / spread).toBeCloseTo(1, 2);
    expect(sphereBlurUm(apertureMm, focalMm / apertureMm) / leastCircleUm(apertureMm, focalMm)).toBeCloseTo(
      1,
      1,
    );
  });
  it('needs a longer focus the larger it is', () => {
    // Texereau, How to Make a Telescope: F³ = 88.6 D in inches for 0.56 µm (value from memory).
    const inches = 6;
    expect(sphereGoodRatio(25.4 * inches, 0.56) ** 3 / inches).toBeCloseTo(88.6, 0);
    expect(sphereErrorUm(25.4 * inches, sphereGoodRatio(25.4 * inches, 0.56))).toBeCloseTo(0.56 / 4, 10);
  });
});

/** Diameter of the smallest circle through which all rays of a sphere pass, by looking at many planes. */
function leastCircleUm(apertureMm: number, focalMm: number): number {
  const radius = 2 * focalMm;
  let least = Infinity;
  for (let plane = 0; plane <= 400; plane++) {
    const back = (plane / 400) * (apertureMm ** 2 / (32 * focalMm)) * 1.2;
    let widest = 0;
    for (let i = 1; i <= 200; i++) {
      const height = ((apertureMm / 2) * i) / 200;
      const angle = Math.asin(height / radius);
      const focus = radius - radius / (2 * Math.cos(angle));
      widest = Math.max(widest, Math.abs((focalMm - back - focus) * Math.tan(2 * angle)));
    }
    least = Math.min(least, 2000 * widest);
  }
  return least;
}

/** Variances in µm² of the spot that exact rays make, `heightMm` off axis, on the medial surface; uniform annulus. */
function traceParaboloid(apertureMm: number, focalMm: number, obstruction: number, heightMm: number) {
  const angle = Math.atan(heightMm / focalMm);
  const incoming = [Math.sin(angle), 0, -Math.cos(angle)];
  const plane = focalMm - heightMm ** 2 / (2 * focalMm);
  const xs: number[] = [];
  const ys: number[] = [];
  for (let ring = 0; ring < 40; ring++)
    for (let spoke = 0; spoke < 120; spoke++) {
      // Equal areas.
      const t = obstruction ** 2 + ((ring + 0.5) / 40) * (1 - obstruction ** 2);
      const r = (apertureMm / 2) * Math.sqrt(t);
      const x = r * Math.cos((2 * Math.PI * spoke) / 120);
      const y = r * Math.sin((2 * Math.PI * spoke) / 120);
      const z = (x * x + y * y) / (4 * focalMm);
      const length = Math.hypot(-x / (2 * focalMm), -y / (2 * focalMm), 1);
      const normal = [-x / (2 * focalMm) / length, -y / (2 * focalMm) / length, 1 / length];
      const along = incoming[0] * normal[0] + incoming[1] * normal[1] + incoming[2] * normal[2];
      const out = incoming.map((value, i) => value - 2 * along * normal[i]);
      const way = (plane - z) / out[2];
      xs.push(1000 * (x + way * out[0]));
      ys.push(1000 * (y + way * out[1]));
    }
  const variance = (values: number[]) => {
    const mean = values.reduce((sum, value) => sum + value, 0) / values.length;
    return values.reduce((sum, value) => sum + (value - mean) ** 2, 0) / values.length;
  };
  return { along: variance(xs), across: variance(ys) };
}
