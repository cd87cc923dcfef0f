import type { Estimate, FieldModel } from '../protocol/report.ts';
import { isRotation } from './budget.ts';
import { LEAST_SIGMA, combined, slopeOf, widenedNearFocus } from './estimates.ts';
import type { FieldFit } from './field-fit.ts';
import { P } from './parameters.ts';
import type { Group } from './parameters.ts';
import { LEGS, legsOf, pathAxisDeg, pathExtentPx } from './free-path.ts';
import { jumpShare, pathSpread } from './path.ts';
import { roundFwhmPx, roundnessOf } from './round-blur.ts';
import { micrometresPerPixel } from './wavefront.ts';

/** A node of the coma farther out than this many half-diagonals is nowhere. */
const FARTHEST_NODE = 30;

/**
 * The fitted physics in the units of the report. Micrometres only where focal ratio and pixel size are known. Standard
 * errors follow the covariance to first order.
 */
export function fieldModel(fit: FieldFit): FieldModel {
  const { theta, optics, path } = fit;
  const radiusMm = (Math.hypot(fit.widthPx - 1, fit.heightPx - 1) / 2) * (optics.pixelUm / 1000);
  const inUm = fit.known.focalRatio && fit.known.pixelSize;
  const um = (term: Parameters<typeof micrometresPerPixel>[0]) => micrometresPerPixel(term, optics);
  const scaled = (name: keyof typeof P, factor: number): Estimate | null =>
    inUm ? widenedNearFocus(name, combined(fit, theta[P[name]] * factor, [[P[name], factor]])) : null;
  const has = (group: Group) => fit.groups.includes(group);

  // Strength 1: a bare paraboloid has C = h / (32 F^3), A = h^2 / (16 F^2 f).
  const comaUnit = (1000 * radiusMm) / (32 * optics.focalRatio ** 3);
  const astigmatismUnit = fit.focalLengthMm
    ? (1000 * radiusMm ** 2) / (16 * optics.focalRatio ** 2 * fit.focalLengthMm)
    : null;
  const moving = path !== 'none';
  const turning = moving && has('rotation') && isRotation(theta);
  const { extent } = pathSpread(path, theta[P.path1], theta[P.path2]);
  const extentBy = (parameter: number) =>
    slopeOf((values) => pathSpread(path, values[P.path1], values[P.path2]).extent, theta, parameter);
  const reach = Math.hypot(theta[P.motionX], theta[P.motionY]);
  const direction: [number, number] =
    reach > 0 ? [theta[P.motionX] / reach, theta[P.motionY] / reach] : [1, 0];
  const share = jumpShare(theta[P.path1]);
  const angleDeg = axisDeg(Math.atan2(theta[P.motionY], theta[P.motionX]));
  return {
    chi2PerDof: fit.chi2PerDof,
    stars: fit.stars,
    roundBlurFwhmPx: roundBlurOf(fit),
    focusUm: scaled('focus', um('defocus')),
    tiltUmPerMm: {
      x: scaled('tiltX', um('defocus') / radiusMm),
      y: scaled('tiltY', um('defocus') / radiusMm),
    },
    // z = - curvature r^2 / 2: um per squared half-diagonal over mm^2 is 1 / m.
    curvaturePerM: scaled('curvature', (-2 * um('defocus')) / radiusMm ** 2),
    focusSignKnown: fit.focusSignKnown,
    coma: {
      strength: scaled('comaField', um('comaX') / comaUnit),
      constantUm: { x: scaled('comaX', um('comaX')), y: scaled('comaY', um('comaY')) },
      centreMm: inUm && has('comaField') ? node(fit, P.comaX, P.comaY, P.comaField, -radiusMm) : null,
    },
    astigmatismUm: {
      cos: scaled('astigmatism0', um('astigmatism0')),
      sin: scaled('astigmatism45', um('astigmatism45')),
    },
    astigmatismField: astigmatismUnit
      ? scaled('astigmatismField', um('astigmatism0') / astigmatismUnit)
      : null,
    trefoilUm: { cos: scaled('trefoil0', um('trefoil0')), sin: scaled('trefoil1', um('trefoil1')) },
    sphericalUm: has('spherical') ? scaled('spherical', um('spherical')) : null,
    motion:
      path === 'free'
        ? freeMotion(fit)
        : moving && !turning && has('motion')
          ? {
              path,
              lengthPx: combined(
                fit,
                reach * extent,
                [
                  [P.motionX, direction[0] * extent],
                  [P.motionY, direction[1] * extent],
                  [P.path1, reach * extentBy(P.path1)],
                  [P.path2, reach * extentBy(P.path2)],
                ],
                LEAST_SIGMA.moved * reach * extent,
              ),
              angleDeg: combined(
                fit,
                angleDeg,
                [
                  [P.motionX, ((-direction[1] / reach) * 180) / Math.PI],
                  [P.motionY, ((direction[0] / reach) * 180) / Math.PI],
                ],
                LEAST_SIGMA.turnedDeg,
              ),
              minorityFraction: path === 'jump' ? Math.min(share, 1 - share) : null,
            }
          : {
              path: 'none',
              lengthPx: combined(fit, 0, [
                [P.motionX, 1],
                [P.motionY, 1],
              ]),
              angleDeg: null,
              minorityFraction: null,
            },
    rotation: rotationOf(fit, turning, radiusMm, inUm),
    dispersionPx: fit.dispersionPx ?? { x: null, y: null },
  };
}

/** A path that comes back on itself by more than a fifth of its length counts as to and fro, another as a line. */
const COMES_BACK = 0.8;

function freeMotion(fit: FieldFit): FieldModel['motion'] {
  const at = (theta: ArrayLike<number>) => legsOf(theta);
  const by = (value: (theta: ArrayLike<number>) => number) =>
    Array.from({ length: 2 * LEGS }, (_, i): [number, number] => [
      P.leg1X + i,
      slopeOf(value, fit.theta, P.leg1X + i),
    ]);
  const extent = (theta: ArrayLike<number>) => pathExtentPx(at(theta));
  // Turned into the fitted axis, so that the difference does not leap from one end of its range to the other.
  const axis = pathAxisDeg(at(fit.theta));
  const turn = (theta: ArrayLike<number>) => {
    const apart = pathAxisDeg(at(theta)) - axis;
    return apart - 180 * Math.round(apart / 180);
  };
  const lengthPx = extent(fit.theta);
  const travelled = at(fit.theta).reduce((sum, [x, y]) => sum + Math.hypot(x, y), 0);
  return {
    path: lengthPx < COMES_BACK * travelled ? 'swing' : 'straight',
    lengthPx: combined(fit, lengthPx, by(extent), LEAST_SIGMA.moved * lengthPx),
    angleDeg: combined(fit, axisDeg((axis * Math.PI) / 180), by(turn), LEAST_SIGMA.turnedDeg),
    minorityFraction: null,
  };
}

/** Width of the round blur, with how its shape bears on it. */
function roundBlurOf(fit: FieldFit): Estimate {
  const round = roundnessOf(fit.theta);
  const value = roundFwhmPx(round);
  const step = 0.01;
  const byCore = fit.groups.includes('core')
    ? (roundFwhmPx({ ...round, core: round.core + step }) - value) / step
    : 0;
  return combined(fit, value, [
    [P.lnBlur, value],
    [P.core, byCore],
  ]);
}

function rotationOf(
  fit: FieldFit,
  turning: boolean,
  radiusMm: number,
  inUm: boolean,
): FieldModel['rotation'] {
  const { theta } = fit;
  const radiusPx = Math.hypot(fit.widthPx - 1, fit.heightPx - 1) / 2;
  const degrees = 180 / Math.PI / radiusPx;
  const turnedDeg = Math.abs(theta[P.rotation]) * degrees;
  const angleDeg = combined(fit, turnedDeg, [[P.rotation, degrees]], LEAST_SIGMA.moved * turnedDeg);
  if (!turning || !inUm) return { angleDeg, centreMm: null };
  // Where d = 0: x = -dy / om, y = dx / om.
  const om = theta[P.rotation];
  return {
    angleDeg,
    centreMm: {
      x: combined(fit, (-theta[P.motionY] / om) * radiusMm, [
        [P.motionY, -radiusMm / om],
        [P.rotation, (theta[P.motionY] / om ** 2) * radiusMm],
      ]),
      y: combined(fit, (theta[P.motionX] / om) * radiusMm, [
        [P.motionX, radiusMm / om],
        [P.rotation, (-theta[P.motionX] / om ** 2) * radiusMm],
      ]),
    },
  };
}

/** Zero of constant + linear term, in units of `scale`; null when nowhere near. */
function node(fit: FieldFit, constantX: number, constantY: number, linear: number, scale: number) {
  const { theta } = fit;
  const k = theta[linear];
  const one = (constant: number) =>
    combined(fit, (theta[constant] / k) * scale, [
      [constant, scale / k],
      [linear, (-theta[constant] / k ** 2) * scale],
    ]);
  if (Math.hypot(theta[constantX], theta[constantY]) > FARTHEST_NODE * Math.abs(k)) return null;
  return { x: one(constantX), y: one(constantY) };
}

/** Angle of an axis in [-90, 90). */
function axisDeg(radians: number): number {
  const degrees = (radians * 180) / Math.PI;
  return degrees - 180 * Math.floor((degrees + 90) / 180);
}
