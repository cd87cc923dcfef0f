import { umPerArcsec, type SceneRig, type Sky, type Vector } from './scene.ts';

/**
 * Transfer of everything that blurs all stars alike and round: air, shake and scattered light.
 * A function of the spatial frequency on the sensor in cycles per micrometre, 1 at zero.
 */
export type RoundTransfer = (cyclesPerUm: number) => number;

export function roundTransfer(sky: Sky, rig: SceneRig, wavelengthUm: number): RoundTransfer {
  const scale = umPerArcsec(rig);
  const air = airTransfer(sky, rig, wavelengthUm);
  const shake = 2 * (Math.PI * sky.jitterArcsec * scale) ** 2;
  const { fraction, widthArcsec } = sky.aureole ?? { fraction: 0, widthArcsec: 0 };
  // The profile (1 + (r/w)^2)^(-3/2) has the transfer function exp(-2 pi w f).
  const decay = 2 * Math.PI * widthArcsec * scale;
  return (f) => air(f) * Math.exp(-shake * f * f) * (1 - fraction + fraction * Math.exp(-decay * f));
}

/** Full width of the long exposure at this wavelength: lambda^-0.2 (Kolmogorov; r0 grows as lambda^(6/5)). */
export const seeingAtArcsec = (sky: Pick<Sky, 'seeingArcsec'>, wavelengthUm: number): number =>
  sky.seeingArcsec * (wavelengthUm / 0.55) ** -0.2;

/**
 * exp(-D(r) / 2) at the separation r = wavelength f_angular. Kolmogorov (Fried 1966): D = 6.88388 (r / r0)^(5/3),
 * with full width 0.975863 lambda / r0. Von Karman: the structure function of Conan (2000), which starts with the
 * same law and levels off beyond the outer scale.
 */
function airTransfer(sky: Sky, rig: SceneRig, wavelengthUm: number): RoundTransfer {
  if (sky.seeingArcsec === 0) return () => 1;
  const widthUm = seeingAtArcsec(sky, wavelengthUm) * umPerArcsec(rig);
  const perFried = widthUm / 0.975863; // r / r0 for one cycle per micrometre
  if (sky.outerScaleM === null) return (f) => Math.exp(-3.441929 * (f * perFried) ** (5 / 3));
  const separationM = (wavelengthUm * rig.focalLengthMm) / 1e6 / 1e-3; // metres for one cycle per micrometre
  const friedM = separationM / perFried;
  const outerM = sky.outerScaleM;
  return (f) => Math.exp(-0.5 * vonKarmanStructure(f * separationM, friedM, outerM));
}

const GAMMA_5_6 = 1.128787029908126;
const GAMMA_6_5 = 0.9181687423997607;
const GAMMA_11_6 = 0.9406558582567717;

/** Phase structure function in rad^2 for separation r, Fried length and outer scale, all in one unit. */
export function vonKarmanStructure(r: number, fried: number, outer: number): number {
  if (r === 0) return 0;
  const factor =
    ((2 ** (1 / 6) * GAMMA_11_6) / Math.PI ** (8 / 3)) *
    ((24 / 5) * GAMMA_6_5) ** (5 / 6) *
    (outer / fried) ** (5 / 3);
  const x = (2 * Math.PI * r) / outer;
  return factor * (GAMMA_5_6 / 2 ** (1 / 6) - x ** (5 / 6) * besselK56(x));
}

/** K of order 5/6 from its integral of exp(-x cosh t) cosh(5t/6); the trapezoid rule converges exponentially. */
function besselK56(x: number): number {
  const step = 0.05;
  const end = Math.acosh(1 + 40 / x);
  let sum = 0.5 * Math.exp(-x);
  for (let t = step; t < end; t += step) sum += Math.exp(-x * Math.cosh(t)) * Math.cosh((5 / 6) * t);
  return sum * step;
}

/** Displacement on the sensor of one colour by the air's dispersion, zero at 0.55 um. */
export function dispersionUm(sky: Sky, rig: SceneRig, wavelengthUm: number): Vector {
  const { lengthArcsec, angleDeg } = sky.dispersion;
  const share = (refractivity(wavelengthUm) - refractivity(0.55)) / (refractivity(0.65) - refractivity(0.45));
  const length = lengthArcsec * umPerArcsec(rig) * share;
  const angle = (angleDeg * Math.PI) / 180;
  return { x: length * Math.cos(angle), y: length * Math.sin(angle) };
}

/** (n - 1) 10^6 of air at 15 C and 760 mm (Filippenko 1982 PASP 94, 715, eq. 1). */
export function refractivity(wavelengthUm: number): number {
  const s2 = 1 / wavelengthUm ** 2;
  return 64.328 + 29498.1 / (146 - s2) + 255.4 / (41 - s2);
}
