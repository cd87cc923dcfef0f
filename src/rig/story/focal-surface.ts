import { halfDiagonalMm } from '../../../workers/rig/coma.ts';
import { focusWanderUmPerK, quarterWaveHalfUm, seeingHalfUm } from '../../../workers/rig/depth-of-focus.ts';
import {
  curvatureBlurUm,
  doubletFieldRadiusMm,
  mirrorFieldRadiusMm,
  sagMm,
} from '../../../workers/rig/field-curvature.ts';
import { GREEN_UM } from '../../../workers/rig/image-scale.ts';
import type { RigSheet } from '../../../workers/rig/sheet.ts';
import { tolerableTiltDeg } from '../../../workers/rig/tilt.ts';
import type { Plan } from '../plan.ts';
import { starWidthsUm } from './field.ts';
import { tell, told, type Told } from './told.ts';

/** Kinds of optics whose coma and field are those of one bare mirror. */
export const isBareMirror = (sheet: RigSheet): boolean =>
  sheet.optics === 'paraboloid' || sheet.optics === 'sphere';

/** Radius of the focal surface where a law for this kind of optics exists; null otherwise. */
export function fieldRadiusMm(sheet: RigSheet): number | null {
  if (!sheet.focalLengthMm) return null;
  if (isBareMirror(sheet)) return mirrorFieldRadiusMm(sheet.focalLengthMm);
  return sheet.optics === 'refractor' ? doubletFieldRadiusMm(sheet.focalLengthMm) : null;
}

/** Half of the depth of focus in use: the air's where seeing is known, at least the quarter wave. */
export function depthHalfUm(
  sheet: RigSheet & { apertureMm: number; focalLengthMm: number },
  widerPercent: number,
): { quarterUm: number; airUm: number | null; usedUm: number } {
  const ratio = sheet.focalLengthMm / sheet.apertureMm;
  const obstruction = sheet.obstruction ?? 0;
  const quarterUm = quarterWaveHalfUm(GREEN_UM, ratio, obstruction);
  const { usualSeeingArcsec } = sheet;
  if (!usualSeeingArcsec) return { quarterUm, airUm: null, usedUm: quarterUm };
  const { seeingUm, diffractionUm } = starWidthsUm({ ...sheet, usualSeeingArcsec });
  const airUm = seeingHalfUm(Math.hypot(seeingUm, diffractionUm), ratio, obstruction, widerPercent / 100);
  return { quarterUm, airUm, usedUm: Math.max(quarterUm, airUm) };
}

export const depth = (sheet: RigSheet, plan: Plan): Told =>
  tell(
    {
      id: 'depth',
      title: 'Depth of focus',
      formula:
        'quarter wave: ±2λF²/(1−ε²)\nwidened by air: ±4Fσ √((1+p)²−1) / √(1+ε²), σ = FWHM/2.355\nwander = α L ΔT',
      source:
        'Rayleigh’s quarter wave, λ = 0.55 µm; variances of a defocused annulus added to the air’s. Expansion per kelvin: aluminium 23·10⁻⁶, steel 12·10⁻⁶, carbon about 1·10⁻⁶ (tables, from memory); L is taken as the focal length.',
    },
    sheet,
    ['focalLengthMm', 'apertureMm'],
    (known) => {
      const { quarterUm, airUm, usedUm } = depthHalfUm(known, plan.widerPercent);
      const turn = known.focuserMmPerTurn;
      const says = [
        airUm === null
          ? `Within ±${told(quarterUm, 'µm')} the error stays below a quarter wave.`
          : `Within ±${told(airUm, 'µm')} usual stars widen by less than ${told(plan.widerPercent, '%')}; a quarter wave is ±${told(quarterUm, 'µm')}.`,
      ];
      if (turn)
        says.push(
          `All of it, end to end, is ${told((2 * usedUm) / (10 * turn), '%')} of a turn of the focuser, ${told((360 * 2 * usedUm) / (1000 * turn), '°')} at the knob.`,
        );
      if (known.tube) {
        const perK = focusWanderUmPerK(known.tube, known.focalLengthMm);
        says.push(
          `The tube moves the focus by up to ${told(perK, 'µm')} per degree: look again after ${told(usedUm / perK, '°C')}.`,
        );
      }
      return says;
    },
  );

export const curvature = (sheet: RigSheet, plan: Plan): Told => {
  const what = {
    id: 'curvature',
    title: 'Curvature of the field',
    formula:
      'sag = R − √(R² − h²) ≈ h²/2R; blur = sag/F, half of it when shared\none mirror: R = f; doublet: R ≈ f/3',
    source:
      'Mirror with the stop at it: Schroeder, Astronomical Optics, ch. 5–6 (medial surface). Doublet: common practice, no source.',
  };
  if (sheet.optics === null) return { ...what, missing: ['kind of optics'], says: [] };
  if (!isBareMirror(sheet) && sheet.optics !== 'refractor')
    return {
      ...what,
      missing: [],
      says: ['Corrector, flattener or design set the field here; no simple law holds.'],
    };
  return tell(what, sheet, ['focalLengthMm', 'apertureMm', 'sensorWidthMm', 'sensorHeightMm'], (known) => {
    const radius = fieldRadiusMm(known)!;
    const ratio = known.focalLengthMm / known.apertureMm;
    const corner = halfDiagonalMm(known.sensorWidthMm, known.sensorHeightMm);
    if (corner >= radius) return ['The sensor is larger than the focal surface is round: check the numbers.'];
    const sag = sagMm(corner, radius);
    const { usedUm } = depthHalfUm(known, plan.widerPercent);
    const blur = curvatureBlurUm(sag, ratio);
    return [
      `The best focus of the corners lies ${told(1000 * sag, 'µm')} before that of the centre${1000 * sag < 2 * usedUm ? ', inside the depth of focus' : ''}.`,
      `Focused on the centre, corners blur to ${told(blur.centreFocusedUm, 'µm')}; with the error shared, to ${told(blur.sharedUm, 'µm')}.`,
    ];
  });
};

export const tilt = (sheet: RigSheet, plan: Plan): Told =>
  tell(
    {
      id: 'tilt',
      title: 'Tilt that is let pass',
      formula: 'tan θ = depth of focus, end to end / diagonal',
      source: 'Elementary geometry on the depth of focus above.',
    },
    sheet,
    ['focalLengthMm', 'apertureMm', 'sensorWidthMm', 'sensorHeightMm'],
    (known) => {
      const diagonal = 2 * halfDiagonalMm(known.sensorWidthMm, known.sensorHeightMm);
      const { usedUm } = depthHalfUm(known, plan.widerPercent);
      const degrees = tolerableTiltDeg(diagonal, usedUm);
      return [
        `From corner to corner the sensor may lean by ${told(2 * usedUm, 'µm')}: ${told(60 * degrees, '′')}, or ${told((2 * usedUm) / diagonal, 'µm')} per millimetre.`,
      ];
    },
  );
