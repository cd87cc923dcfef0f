import { BUDGET_PARTS } from '../protocol/report.ts';
import type { BudgetEntry, BudgetPart, BudgetPlace } from '../protocol/report.ts';
import { diffractionFwhm, fringePx } from './optics.ts';
import type { Optics } from './optics.ts';
import { P } from './parameters.ts';
import type { PathKind } from './parameters.ts';
import { legsOf, pathMoments } from './free-path.ts';
import { pathSpread } from './path.ts';
import { FWHM_PER_SIGMA } from './spot-moments.ts';
import { spotVariance } from './wavefront.ts';

/** What the budget needs of a fit. Theta in the order of FIELD_PARAMETERS. */
export interface BudgetInput {
  optics: Optics;
  widthPx: number;
  heightPx: number;
  theta: ArrayLike<number>;
  path: PathKind;
  /** Red minus blue. */
  dispersionPx: { x: number; y: number };
}

/** Share of the squared angle's reach from which a motion counts as a turn of the field about a point. */
const TURN_SHARE = 0.15;

/** Whether the motion is a rotation about some centre rather than a drift that varies a little over the field. */
export const isRotation = (theta: ArrayLike<number>): boolean =>
  theta[P.rotation] ** 2 > TURN_SHARE * (theta[P.motionX] ** 2 + theta[P.motionY] ** 2);

/** Per-axis variances (px^2) at one place of the field, (xi, eta) in half-diagonals from the centre. */
export function budgetAt(input: BudgetInput, xi: number, eta: number): Record<BudgetPart, number> {
  const { optics, theta, path, dispersionPx } = input;
  const { obstruction } = optics;
  const defocus = spotVariance('defocus', obstruction);
  const coma = spotVariance('comaX', obstruction);
  const r2 = xi * xi + eta * eta;
  const z = {
    focus: theta[P.focus],
    tilt: theta[P.tiltX] * xi + theta[P.tiltY] * eta,
    curvature: theta[P.curvature] * r2,
  };
  const zAll = z.focus + z.tilt + z.curvature;
  const comaX = theta[P.comaField] * xi;
  const comaY = theta[P.comaField] * eta;
  const comaAll = (comaX + theta[P.comaX]) ** 2 + (comaY + theta[P.comaY]) ** 2;
  const a0 =
    theta[P.astigmatism0] +
    theta[P.astigmatismLinearX] * xi -
    theta[P.astigmatismLinearY] * eta +
    theta[P.astigmatismField] * (xi * xi - eta * eta);
  const a45 =
    theta[P.astigmatism45] +
    theta[P.astigmatismLinearX] * eta +
    theta[P.astigmatismLinearY] * xi +
    2 * theta[P.astigmatismField] * xi * eta;
  const { variance: alongPath } = pathSpread(path, theta[P.path1], theta[P.path2]);
  const moved = (alongPath / 2) * (theta[P.motionX] ** 2 + theta[P.motionY] ** 2);
  const turned = (alongPath / 2) * theta[P.rotation] ** 2 * r2;
  const movedAll =
    (alongPath / 2) *
    ((theta[P.motionX] - theta[P.rotation] * eta) ** 2 + (theta[P.motionY] + theta[P.rotation] * xi) ** 2);
  const rotation = isRotation(theta);
  const free = path === 'free' ? pathMoments(legsOf(theta)) : { xx: 0, yy: 0 };
  const freely = (free.xx + free.yy) / 2;
  // A broad core is part of the round blur.
  const blur = (Math.exp(theta[P.lnBlur]) / FWHM_PER_SIGMA) ** 2;
  const parts: Record<BudgetPart, number> = {
    roundBlur: blur,
    diffraction: ((diffractionFwhm(obstruction) * fringePx(optics)) / FWHM_PER_SIGMA) ** 2,
    pixel: 1 / 12,
    focus: defocus * z.focus ** 2,
    tilt: defocus * z.tilt ** 2,
    curvature: defocus * z.curvature ** 2,
    coma: coma * (comaX ** 2 + comaY ** 2),
    collimation: coma * (theta[P.comaX] ** 2 + theta[P.comaY] ** 2),
    astigmatism: spotVariance('astigmatism0', obstruction) * (a0 ** 2 + a45 ** 2),
    pinching: spotVariance('trefoil0', obstruction) * (theta[P.trefoil0] ** 2 + theta[P.trefoil1] ** 2),
    spherical: spotVariance('spherical', obstruction) * theta[P.spherical] ** 2,
    // A turn about a centre off the sensor's middle is one movement, not a drift and a turn.
    trailing: freely + (rotation ? 0 : moved),
    rotation: rotation ? movedAll : turned,
    // Red, green and blue a third each, half a shift apart: d^2 / 6 along it.
    dispersion: (dispersionPx.x ** 2 + dispersionPx.y ** 2) / 12,
    cross: 0,
    total: 0,
  };
  // Spherical aberration with defocus is left out: in the mean of the corners only focus with curvature remains by definition,
  // and what a small spherical aberration does to a large defocus would pose as much less of the latter.
  parts.cross =
    defocus * zAll ** 2 -
    (parts.focus + parts.tilt + parts.curvature) +
    coma * comaAll -
    (parts.coma + parts.collimation) +
    freely +
    movedAll -
    (parts.trailing + parts.rotation);
  for (const part of BUDGET_PARTS) if (part !== 'total') parts.total += parts[part];
  return parts;
}

export const CORNERS: { where: BudgetPlace; x: -1 | 1; y: -1 | 1 }[] = [
  { where: 'c0r0', x: -1, y: -1 },
  { where: 'c1r0', x: 1, y: -1 },
  { where: 'c0r1', x: -1, y: 1 },
  { where: 'c1r1', x: 1, y: 1 },
];

/** Field coordinates of the corner pixels' centres. */
export function cornerPlaces({ widthPx, heightPx }: Pick<BudgetInput, 'widthPx' | 'heightPx'>) {
  const radius = Math.hypot(widthPx - 1, heightPx - 1);
  return CORNERS.map(({ where, x, y }) => ({
    where,
    xi: (x * (widthPx - 1)) / radius,
    eta: (y * (heightPx - 1)) / radius,
  }));
}

/** The blur budget at the centre, in the mean of the corners, and at each corner. */
export function blurBudget(input: BudgetInput): BudgetEntry[] {
  const corners = cornerPlaces(input).map(({ where, xi, eta }) => ({
    where,
    variancePx2: budgetAt(input, xi, eta),
  }));
  const mean = Object.fromEntries(
    BUDGET_PARTS.map((part) => [
      part,
      corners.reduce((sum, { variancePx2 }) => sum + variancePx2[part], 0) / corners.length,
    ]),
  ) as Record<BudgetPart, number>;
  return [
    { where: 'centre', variancePx2: budgetAt(input, 0, 0) },
    { where: 'corners', variancePx2: mean },
    ...corners,
  ];
}
