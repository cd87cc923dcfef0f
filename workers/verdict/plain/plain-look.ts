import type { StampMoments } from '../../fit/stamp-moments.ts';
import { robustRegression, type Regression } from '../../math/regression.ts';
import { median } from '../../math/robust.ts';
import type { Estimate } from '../../protocol/report.ts';
import type { StampSet } from '../../protocol/stamps.ts';

/**
 * How the stars' shapes run over the field, without any physics: sizes and distortions from adaptive moments, laid on
 * low polynomials of the place. It cannot name a cause, but no missing physics can lead it astray. Places are in
 * half-diagonals from the sensor's centre; distortions are e = (Ixx - Iyy, 2 Ixy) / (Ixx + Iyy).
 */
export interface PlainLook {
  stars: number;
  /** Distortion that all stars share: size, and its axis from +x towards +y. */
  common: Estimate;
  commonAngleDeg: number;
  /** Rms over the stars of the distortion that changes over the field, noise of the coefficients taken off. */
  varying: number;
  /** Distortion along the radius that grows with its square, at the corner: negative = across the radius. */
  radial: Estimate;
  /** Logarithm of the width: change from the centre to the corner that lies farthest up the slope, and where that is. */
  slope: Estimate;
  slopeAngleDeg: number;
  /** Logarithm of the width: change from the centre to the mean of the corners. */
  bowl: Estimate;
  /** Comet shape <|z|² z> over the cube of the rms width: what all share, and what grows along the radius, at the corner. */
  commonComet: Estimate;
  radialComet: Estimate;
}

/** Fewer stars tell no pattern. */
const LEAST_STARS = 8;
const LEAST_SNR = 12;
/** Stars of another size than most are doubles, galaxies or junk. */
const ORDINARY = { least: 0.5, most: 2 };

/** Null with fewer than eight stars of ordinary size. */
export function plainLook(stamps: StampSet, { moments, snr }: StampMoments): PlainLook | null {
  const all = Array.from(snr, (_, star) => star).filter(
    (star) => snr[star] >= LEAST_SNR && moments[7 * star] > 0,
  );
  const typical = median(all.map((star) => moments[7 * star]));
  const stars = all.filter((star) => {
    const size = Math.sqrt(moments[7 * star] / typical);
    return size > ORDINARY.least && size < ORDINARY.most;
  });
  if (stars.length < LEAST_STARS) return null;
  const radius = Math.hypot(stamps.widthPx - 1, stamps.heightPx - 1) / 2;
  const x = stars.map((star) => (stamps.xPx[star] - (stamps.widthPx - 1) / 2) / radius);
  const y = stars.map((star) => (stamps.yPx[star] - (stamps.heightPx - 1) / 2) / radius);
  const trace = stars.map((star) => moments[7 * star]);

  const widths = regress(
    x.map((xi, i) => [1, xi, y[i], xi * xi + y[i] * y[i]]),
    trace.map((value) => 0.5 * Math.log(value)),
  );
  const shapes = distortions(x, y, stars, moments);
  const comets = regress(
    [...x.map((xi) => [1, 0, xi]), ...y.map((eta) => [0, 1, eta])],
    [3, 4].flatMap((at) => stars.map((star, i) => moments[7 * star + at] / trace[i] ** 1.5)),
  );
  if (!widths || !shapes || !comets) return null;
  return {
    stars: stars.length,
    ...shapes,
    slope: lengthOf(widths, 1, 2),
    slopeAngleDeg: degrees(Math.atan2(widths.coefficients[2], widths.coefficients[1])),
    bowl: single(widths, 3),
    commonComet: lengthOf(comets, 0, 1),
    radialComet: single(comets, 2),
  };
}

/** Constant, linear and radial part of the distortion; the linear one only where the stars can tell it. */
function distortions(x: number[], y: number[], stars: number[], moments: Float64Array) {
  const values = [1, 2].flatMap((at) => stars.map((star) => moments[7 * star + at] / moments[7 * star]));
  const linear = stars.length >= 2 * LEAST_STARS;
  const row = (part: 0 | 1) => (xi: number, i: number) => {
    const eta = y[i];
    const radial = part === 0 ? xi * xi - eta * eta : 2 * xi * eta;
    const pair = (value: number) => (part === 0 ? [value, 0] : [0, value]);
    return [...pair(1), radial, ...(linear ? [...pair(xi), ...pair(eta)] : [])];
  };
  const fitted = regress([...x.map(row(0)), ...x.map(row(1))], values);
  if (!fitted) return null;
  const [e1, e2, radial, ...slopes] = fitted.coefficients;
  const at = (i: number): [number, number] => {
    const [b1 = 0, b2 = 0, c1 = 0, c2 = 0] = slopes;
    return [
      radial * (x[i] ** 2 - y[i] ** 2) + b1 * x[i] + c1 * y[i],
      radial * 2 * x[i] * y[i] + b2 * x[i] + c2 * y[i],
    ];
  };
  const square = x.reduce((sum, _, i) => sum + at(i)[0] ** 2 + at(i)[1] ** 2, 0) / x.length;
  const r2 = x.map((xi, i) => xi * xi + y[i] * y[i]);
  const mean = (list: number[]) => list.reduce((sum, value) => sum + value, 0) / list.length;
  const variance = (index: number) => fitted.covariance[index * fitted.coefficients.length + index];
  const noise =
    variance(2) * mean(r2.map((value) => value * value)) +
    (linear
      ? (variance(3) + variance(4)) * mean(x.map((value) => value * value)) +
        (variance(5) + variance(6)) * mean(y.map((value) => value * value))
      : 0);
  return {
    common: lengthOf(fitted, 0, 1),
    commonAngleDeg: degrees(Math.atan2(e2, e1) / 2),
    varying: Math.sqrt(Math.max(square - noise, 0)),
    radial: single(fitted, 2),
  };
}

function regress(rows: number[][], values: number[]): Regression | null {
  return robustRegression(Float64Array.from(rows.flat()), Float64Array.from(values), rows[0].length);
}

function single({ coefficients, covariance }: Regression, index: number): Estimate {
  return {
    value: coefficients[index],
    sigma: Math.sqrt(covariance[index * coefficients.length + index]),
  };
}

/** Length of the vector of two coefficients; its error is that along the vector. */
function lengthOf({ coefficients, covariance }: Regression, a: number, b: number): Estimate {
  const p = coefficients.length;
  const value = Math.hypot(coefficients[a], coefficients[b]);
  const [ca, cb] = value > 0 ? [coefficients[a] / value, coefficients[b] / value] : [1, 0];
  const variance =
    ca * ca * covariance[a * p + a] + 2 * ca * cb * covariance[a * p + b] + cb * cb * covariance[b * p + b];
  return { value, sigma: Math.sqrt(variance) };
}

const degrees = (radians: number) => (radians * 180) / Math.PI;
