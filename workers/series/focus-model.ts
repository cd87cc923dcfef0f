import type { ComaTable } from './focus-coma.ts';
import type { FocusLaw } from './focus-law.ts';
import type { FocusSamples } from './focus-samples.ts';

/**
 * Parameters of a run. Defocus in steps of the focuser, places in half-diagonals:
 *   z = (p - focus) + tiltX x + tiltY y - curvature r² / 2,   size = law(|z| exp(lnScale), core) times what coma does
 *   core = exp(lnCore + air of the frame) sqrt(1 + c1 x + c2 y + c3 x² + c4 xy + c5 y²)
 *   coma (sagittal, px) = |(comaX, comaY) + comaField (x, y)|
 * The core's map takes up what little widens stars besides focus and coma; the air changes from frame to frame.
 *   ln measured = v - bend (v - v0)²
 * with v = ln size and v0 the same in focus: `bend` lets rings be measured a little small.
 */
export const P = {
  focus: 0,
  tiltX: 1,
  tiltY: 2,
  curvature: 3,
  lnScale: 4,
  lnCore: 5,
  core: 6,
  comaX: 11,
  comaY: 12,
  comaField: 13,
  bend: 14,
  air: 15,
} as const;

export interface FocusModel {
  law: FocusLaw;
  coma: ComaTable;
  obstruction: number;
  /** Focus position per frame. */
  positions: Float64Array;
}

const LEAST_EXCESS = -0.8;

/** Defocus in steps at a place (half-diagonals). */
export const defocusAt = (theta: Float64Array, position: number, x: number, y: number): number =>
  position -
  theta[P.focus] +
  theta[P.tiltX] * x +
  theta[P.tiltY] * y -
  (theta[P.curvature] * (x * x + y * y)) / 2;

/** Coma at a place, px. */
export const comaAt = (theta: Float64Array, x: number, y: number): number =>
  Math.hypot(theta[P.comaX] + theta[P.comaField] * x, theta[P.comaY] + theta[P.comaField] * y);

/** Half-flux diameter that stars have at a place, in air as it usually was. */
export const hfdAt = (
  { law, coma }: FocusModel,
  theta: Float64Array,
  position: number,
  x: number,
  y: number,
): number =>
  Math.exp(
    lnSize(
      law,
      coma,
      defocusAt(theta, position, x, y) * Math.exp(theta[P.lnScale]),
      theta[P.lnCore] + Math.log1p(excessAt(theta, x, y)) / 2,
      comaAt(theta, x, y),
    ),
  );

/** What widens the core at a place, relative to core². */
const excessAt = (theta: Float64Array, x: number, y: number): number =>
  Math.max(
    LEAST_EXCESS,
    theta[P.core] * x +
      theta[P.core + 1] * y +
      theta[P.core + 2] * x * x +
      theta[P.core + 3] * x * y +
      theta[P.core + 4] * y * y,
  );

/** ln of the size that the model expects of every sample, and the derivatives by all parameters (row-major) if wanted. */
export interface Predicted {
  value: Float64Array;
  gradient: Float64Array | null;
}

export function predict(model: FocusModel, theta: Float64Array, s: FocusSamples, slopes: boolean): Predicted {
  const n = theta.length;
  const gradient = slopes ? new Float64Array(s.count * n) : null;
  const value = new Float64Array(s.count);
  for (let i = 0; i < s.count; i++) {
    const row = gradient?.subarray(i * n, (i + 1) * n) ?? null;
    const { raw, inFocus } = rawSize(model, theta, s, i, row);
    const grown = raw - inFocus;
    value[i] = raw - theta[P.bend] * grown ** 2;
    if (!row) continue;
    const own = 1 - 2 * theta[P.bend] * grown;
    for (let k = 0; k < n; k++) row[k] *= own;
    row[P.bend] = -(grown ** 2);
  }
  return { value, gradient };
}

/** Per-axis rms width of a Gaussian over its half-flux diameter: 1 / (2 sqrt(2 ln 2)). */
const RMS_PER_HFD = 1 / (2 * Math.sqrt(2 * Math.LN2));

/** ln size of a star: defocus in the law's units, ln core, coma in px. */
function lnSize(law: FocusLaw, table: ComaTable, z: number, lnCore: number, comaPx: number): number {
  const core = Math.exp(lnCore);
  const rms = law.hfdPx(0, core) * RMS_PER_HFD;
  return Math.log(law.hfdPx(z, core)) + table.lnRatio((z * law.discRadiusPx) / rms, comaPx / rms);
}

const STEP = 0.01;
const COMA_STEP_PX = 0.05;

/** ln size and ln size in focus of one sample, and the size's derivatives into `row`. */
function rawSize(
  { law, coma, positions }: FocusModel,
  theta: Float64Array,
  s: FocusSamples,
  i: number,
  row: Float64Array | null,
): { raw: number; inFocus: number } {
  const [x, y, f] = [s.x[i], s.y[i], s.frame[i]];
  const scale = Math.exp(theta[P.lnScale]);
  const z = defocusAt(theta, positions[f], x, y) * scale;
  const excess = excessAt(theta, x, y);
  const lnCore = theta[P.lnCore] + theta[P.air + f] + Math.log1p(excess) / 2;
  const comaPx = comaAt(theta, x, y);
  const sizes = { raw: lnSize(law, coma, z, lnCore, comaPx), inFocus: lnSize(law, coma, 0, lnCore, comaPx) };
  if (!row) return sizes;
  const dz = 0.02 / law.slope + 0.004 * Math.abs(z);
  const byZ =
    ((lnSize(law, coma, z + dz, lnCore, comaPx) - lnSize(law, coma, z - dz, lnCore, comaPx)) / (2 * dz)) *
    scale;
  const byCore =
    (lnSize(law, coma, z, lnCore + STEP, comaPx) - lnSize(law, coma, z, lnCore - STEP, comaPx)) / (2 * STEP);
  const byComa =
    (lnSize(law, coma, z, lnCore, comaPx + COMA_STEP_PX) -
      lnSize(law, coma, z, lnCore, Math.max(0, comaPx - COMA_STEP_PX))) /
    (COMA_STEP_PX + Math.min(comaPx, COMA_STEP_PX));
  row[P.focus] = -byZ;
  row[P.tiltX] = byZ * x;
  row[P.tiltY] = byZ * y;
  row[P.curvature] = (-byZ * (x * x + y * y)) / 2;
  row[P.lnScale] = (byZ * z) / scale;
  row[P.lnCore] = byCore;
  row[P.air + f] = byCore;
  if (comaPx > 0) {
    const ux = (theta[P.comaX] + theta[P.comaField] * x) / comaPx;
    const uy = (theta[P.comaY] + theta[P.comaField] * y) / comaPx;
    row[P.comaX] = byComa * ux;
    row[P.comaY] = byComa * uy;
    row[P.comaField] = byComa * (ux * x + uy * y);
  }
  if (excess <= LEAST_EXCESS) return sizes;
  const half = byCore / (2 * (1 + excess));
  row[P.core] = half * x;
  row[P.core + 1] = half * y;
  row[P.core + 2] = half * x * x;
  row[P.core + 3] = half * x * y;
  row[P.core + 4] = half * y * y;
  return sizes;
}
