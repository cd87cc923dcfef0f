import { describe, expect, test } from 'vitest';
import {
  axisFromTwo,
  growthOfErrors,
  hourAngleOf,
  polarCombination,
  refractionDecDrift,
} from '../../workers/rig/polar-axis.ts';

const DEG = Math.PI / 180;

describe('polar axis from the declination drift', () => {
  // Handbook of formulas, 7.2 (vector model agrees): per minute of time and arc minute of error.
  test.each([
    ['too high by 1 arcmin, star in the east, six hours from the meridian', 0.26252, -1],
    ['too far east by 1 arcmin at latitude 50°, star on the meridian', -0.16874, Math.cos(50 * DEG)],
  ])('%s', (_, drift, combination) => {
    const found = polarCombination({ value: drift, sigma: 0.01 }, 50);
    expect(found.value).toBeCloseTo(combination, 4);
    expect(found.sigma).toBeCloseTo(0.01 / 0.26252, 4);
  });

  test('a star drifting south on the meridian: the axis is too far east (rule of the drift method)', () =>
    expect(polarCombination({ value: -0.5, sigma: 0.01 }, 50).value).toBeGreaterThan(0));
});

/**
 * Declination drift of a star, arc seconds a minute, by turning vectors and no formula of the project: the mount turns its
 * tube evenly about an axis that lies beside the pole, the sky turns about the pole, and what is told is how far the star
 * has gone from the tube, along the great circle to the north celestial pole, over a minute about the moment. `high`
 * and `east` are of the end of the axis that points at the pole above the horizon.
 */
function driftByVectors(
  axis: { highArcmin: number; eastArcmin: number },
  place: { latitudeDeg: number; hourAngleH: number; declinationDeg: number },
): number {
  type Vector = [number, number, number];
  // East, north, up.
  const towards = (azimuthDeg: number, altitudeDeg: number): Vector => {
    const [a, h] = [azimuthDeg * DEG, altitudeDeg * DEG];
    return [Math.sin(a) * Math.cos(h), Math.cos(a) * Math.cos(h), Math.sin(h)];
  };
  const dot = (p: Vector, q: Vector) => p[0] * q[0] + p[1] * q[1] + p[2] * q[2];
  const cross = (p: Vector, q: Vector): Vector => [
    p[1] * q[2] - p[2] * q[1],
    p[2] * q[0] - p[0] * q[2],
    p[0] * q[1] - p[1] * q[0],
  ];
  const scaled = (p: Vector, by: number): Vector => [p[0] * by, p[1] * by, p[2] * by];
  const sum = (...all: Vector[]): Vector =>
    [0, 1, 2].map((i) => all.reduce((total, vector) => total + vector[i], 0)) as Vector;
  /** Rodrigues' rotation: from east over the meridian to west is left-handed about the north pole. */
  const turned = (p: Vector, about: Vector, angle: number): Vector =>
    sum(
      scaled(p, Math.cos(angle)),
      scaled(cross(about, p), Math.sin(angle)),
      scaled(about, dot(about, p) * (1 - Math.cos(angle))),
    );
  const { latitudeDeg, hourAngleH, declinationDeg } = place;
  const pole = towards(0, latitudeDeg);
  const south = latitudeDeg < 0;
  // The end above the horizon: raised by `high`, moved to the east by `east` (azimuth runs from north over east).
  const end = south
    ? towards(180 - axis.eastArcmin / 60, -latitudeDeg + axis.highArcmin / 60)
    : towards(axis.eastArcmin / 60, latitudeDeg + axis.highArcmin / 60);
  const mount = south ? scaled(end, -1) : end;
  // A star on the meridian at the equator stands at azimuth 180 and altitude 90 - latitude.
  const equator = towards(180, 90 - latitudeDeg);
  const onMeridian = sum(
    scaled(equator, Math.cos(declinationDeg * DEG)),
    scaled(pole, Math.sin(declinationDeg * DEG)),
  );
  const star = turned(onMeridian, pole, -hourAngleH * 15 * DEG);
  const minute = (360.98564736629 / 1440) * DEG;
  const half = (about: Vector, sign: number) => turned(star, about, (-sign * minute) / 2);
  const gap = (sign: number): number => {
    const [sky, tube] = [half(pole, sign), half(mount, sign)];
    return (Math.asin(dot(sky, pole)) - Math.asin(dot(tube, pole))) / DEG;
  };
  return 3600 * (gap(1) - gap(-1));
}

describe('both errors from two fields', () => {
  const field = (
    axis: { highArcmin: number; eastArcmin: number },
    latitudeDeg: number,
    hourAngleH: number,
    declinationDeg: number,
    sigma = 0,
  ) => ({
    hourAngleH,
    decArcsecPerMin: {
      value: driftByVectors(axis, { latitudeDeg, hourAngleH, declinationDeg }),
      sigma,
    },
  });

  test('the vectors say what the handbook says (7.2): 0.26252 in the east, -0.16874 on the meridian at 50°', () => {
    const at = (highArcmin: number, eastArcmin: number, hourAngleH: number) =>
      driftByVectors({ highArcmin, eastArcmin }, { latitudeDeg: 50, hourAngleH, declinationDeg: 0 });
    expect(at(1, 0, -6)).toBeCloseTo(0.26252, 4);
    expect(at(0, 1, 0)).toBeCloseTo(-0.16874, 4);
  });

  // Truth: rotated vectors, above. Good to the square of the error over a radian: 20' squared is 0.1'.
  test.each([
    ['north, too high and too far west', 48, { highArcmin: 4, eastArcmin: -7 }],
    ['north, too low and too far east', 52, { highArcmin: -12, eastArcmin: 20 }],
    ['south, too high and too far east', -33, { highArcmin: 6, eastArcmin: 9 }],
    ['south, too low and too far west', -41, { highArcmin: -8, eastArcmin: -3 }],
  ])('%s', (_, latitudeDeg, axis) => {
    for (const [first, second] of [
      [-5.5, 0.5],
      [-0.2, 5],
      [-3, 4],
      [10, 4],
    ]) {
      const found = axisFromTwo(
        field(axis, latitudeDeg, first, Math.sign(latitudeDeg) * 25),
        field(axis, latitudeDeg, second, Math.sign(latitudeDeg) * 5),
        latitudeDeg,
      )!;
      expect(Math.abs(found.highArcmin.value - axis.highArcmin)).toBeLessThan(0.15);
      expect(Math.abs(found.eastArcmin.value - axis.eastArcmin)).toBeLessThan(0.2);
    }
  });

  test('errors: as the drifts scatter, so do the answers', () => {
    // Elementary: solve many times with drawn drifts. 4000 draws give a scatter to 1.1 %.
    const [a, b] = [-5, -1].map((hour) => field({ highArcmin: 4, eastArcmin: -7 }, 48, hour, 20, 0.02));
    const said = axisFromTwo(a, b, 48)!;
    let state = 11;
    const uniform = () => (state = (state * 16807) % 2147483647) / 2147483647;
    const normal = () => Math.sqrt(-2 * Math.log(uniform())) * Math.cos(2 * Math.PI * uniform());
    const shaken = ({ hourAngleH, decArcsecPerMin: { value, sigma } }: typeof a) => ({
      hourAngleH,
      decArcsecPerMin: { value: value + sigma * normal(), sigma },
    });
    const drawn = Array.from({ length: 4000 }, () => axisFromTwo(shaken(a), shaken(b), 48)!);
    for (const key of ['highArcmin', 'eastArcmin'] as const) {
      const off = drawn.map((found) => found[key].value - said[key].value);
      const scatter = Math.sqrt(off.reduce((total, value) => total + value ** 2, 0) / off.length);
      expect(Math.abs(scatter / said[key].sigma - 1)).toBeLessThan(0.05);
    }
  });

  test('fields within an hour of each other, or of opposite hour angles, give none', () => {
    const at = (hour: number) => field({ highArcmin: 4, eastArcmin: -7 }, 48, hour, 20, 0.02);
    expect(axisFromTwo(at(1), at(1.5), 48)).toBeNull();
    expect(axisFromTwo(at(-6), at(5.5), 48)).toBeNull();
    expect(axisFromTwo(at(-6), at(0), 90)).toBeNull();
    expect(axisFromTwo(at(1), at(2.5), 48)).not.toBeNull();
    expect(growthOfErrors(at(-5), at(-3))).toBeCloseTo(2, 6);
  });
});

test('hour angle: Greenwich, 1987 April 10, 19:21 UT has the sidereal time 8h 34m 57.09s (Meeus 1998, example 12.b)', () => {
  const rightAscensionDeg = 15 * (8 + 34 / 60 + 57.0896 / 3600);
  const at = Date.UTC(1987, 3, 10, 19, 21);
  expect(hourAngleOf(at, 0, rightAscensionDeg)).toBeCloseTo(0, 5);
  expect(hourAngleOf(at, 30, rightAscensionDeg)).toBeCloseTo(2, 5);
  expect(hourAngleOf(at, 0, rightAscensionDeg + 15)).toBeCloseTo(-1, 5);
});

test('refraction: the drift is that of a star lifted along its vertical circle', () => {
  // Another way: altitude and azimuth, lifted by 58.2" tan z (sea level, handbook 8.3: 58.18" at 45°), back to declination.
  const liftedDec = (latitude: number, hour: number, dec: number) => {
    const [p, h, d] = [latitude * DEG, hour * DEG, dec * DEG];
    const altitude = Math.asin(Math.sin(p) * Math.sin(d) + Math.cos(p) * Math.cos(d) * Math.cos(h));
    const cosAzimuth = (Math.sin(d) - Math.sin(p) * Math.sin(altitude)) / (Math.cos(p) * Math.cos(altitude));
    const lifted = altitude + (58.2 / Math.tan(altitude) / 3600) * DEG;
    const dec2 = Math.asin(Math.sin(p) * Math.sin(lifted) + Math.cos(p) * Math.cos(lifted) * cosAzimuth);
    return ((dec2 - d) / DEG) * 3600;
  };
  for (const [latitudeDeg, hourAngleH, declinationDeg] of [
    [50, -4, 10],
    [50, 3, 40],
    [35, 2, -15],
    [-33, -3, -40],
  ]) {
    const hour = hourAngleH * 15;
    const step = 0.5;
    const want =
      ((liftedDec(latitudeDeg, hour + step, declinationDeg) -
        liftedDec(latitudeDeg, hour - step, declinationDeg)) /
        (2 * step)) *
      (360.9856 / 1440);
    const found = refractionDecDrift({ latitudeDeg, hourAngleH, declinationDeg })!;
    // Air of another pressure and temperature, and tan z against tan z and its cube: a few per cent.
    expect(Math.abs(found - want)).toBeLessThan(0.05 * Math.abs(want) + 0.002);
  }
  expect(refractionDecDrift({ latitudeDeg: 50, hourAngleH: 12, declinationDeg: 0 })).toBeNull();
});
