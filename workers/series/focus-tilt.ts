import type { FocusTilt } from '../protocol/focus-run.ts';
import type { Estimate } from '../protocol/report.ts';
import { P } from './focus-model.ts';
import type { FocusFit } from './focus-fit.ts';
import type { FocusData } from './focus-samples.ts';

const DEG = Math.PI / 180;
/** What the law and the measured sizes leave out, relative: rendered runs come out within 2 % beyond their noise. */
const SYSTEMATIC = 0.012;
/** A slope of 1 µm per mm as an angle: 10⁻³ rad in arc minutes. */
const ARCMIN_PER_UM_PER_MM = (180 * 60) / Math.PI / 1000;

/** Lean of the sensor against the focal surface, from steps per half-diagonal. Errors propagated to first order. */
export function focusTilt(
  data: FocusData,
  { theta, covariance }: FocusFit,
  umPerStep: Estimate,
  pixelUm: number,
): FocusTilt {
  const n = theta.length;
  const halfDiagonalMm = (data.halfDiagonalPx * pixelUm) / 1000;
  const unit = umPerStep.value / halfDiagonalMm;
  const relative = Math.hypot(umPerStep.sigma / umPerStep.value, SYSTEMATIC);
  const [x, y] = [theta[P.tiltX] * unit, theta[P.tiltY] * unit];
  const own = (k: number, l: number) => covariance[k * n + l] * unit * unit;
  /** Error of the sum a x + b y. */
  const along = (a: number, b: number): number =>
    Math.sqrt(
      Math.max(
        0,
        a * a * own(P.tiltX, P.tiltX) + 2 * a * b * own(P.tiltX, P.tiltY) + b * b * own(P.tiltY, P.tiltY),
      ) +
        ((a * x + b * y) * relative) ** 2,
    );
  const size = Math.hypot(x, y);
  const [c, s] = size > 0 ? [x / size, y / size] : [1, 0];
  const umPerMm = { value: size, sigma: along(c, s) };
  const acrossAngle = Math.sqrt(
    Math.max(
      0,
      s * s * own(P.tiltX, P.tiltX) - 2 * s * c * own(P.tiltX, P.tiltY) + c * c * own(P.tiltY, P.tiltY),
    ),
  );
  const width = (data.widthPx * pixelUm) / 1000;
  const height = (data.heightPx * pixelUm) / 1000;
  const times = (estimate: Estimate, factor: number) => ({
    value: estimate.value * factor,
    sigma: estimate.sigma * factor,
  });
  const [tx, ty] = [
    { value: x, sigma: along(1, 0) },
    { value: y, sigma: along(0, 1) },
  ];
  return {
    vector: { x: tx, y: ty },
    umPerMm,
    arcmin: times(umPerMm, ARCMIN_PER_UM_PER_MM),
    directionDeg: {
      value: Math.atan2(y, x) / DEG,
      sigma: Math.min(104, Math.atan2(acrossAngle, size) / DEG),
    },
    acrossWidthUm: times(tx, width),
    acrossHeightUm: times(ty, height),
    acrossCornersUm: {
      value: Math.abs(x) * width + Math.abs(y) * height,
      sigma: along(Math.sign(x) * width, Math.sign(y) * height),
    },
  };
}
