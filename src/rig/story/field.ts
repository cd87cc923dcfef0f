import {
  arcsecToUm,
  expectedFwhmPx,
  fieldDeg,
  GREEN_UM,
  nyquistPixelUm,
  scaleArcsecPerPx,
} from '../../../workers/rig/image-scale.ts';
import { diffractionFwhm } from '../../../workers/rig/diffraction.ts';
import { equalExposureS, openFraction, speedRatio } from '../../../workers/rig/speed.ts';
import type { RigSheet } from '../../../workers/rig/sheet.ts';
import type { Plan } from '../plan.ts';
import { duration, ratioText, tell, told, type Told } from './told.ts';

/** Widths of a centred star on this sensor, micrometres: the air's share and the aperture's. */
export const starWidthsUm = (
  sheet: RigSheet & { apertureMm: number; focalLengthMm: number; usualSeeingArcsec: number },
): { seeingUm: number; diffractionUm: number } => ({
  seeingUm: arcsecToUm(sheet.usualSeeingArcsec, sheet.focalLengthMm),
  diffractionUm:
    (diffractionFwhm(sheet.obstruction ?? 0) * GREEN_UM * sheet.focalLengthMm) / sheet.apertureMm,
});

/** FWHM that a centred star should have, pixels; null while something is not told. */
export function centredFwhmPx(sheet: RigSheet): number | null {
  const { apertureMm, focalLengthMm, pixelSizeUm, usualSeeingArcsec } = sheet;
  if (!apertureMm || !focalLengthMm || !pixelSizeUm || !usualSeeingArcsec) return null;
  const { seeingUm, diffractionUm } = starWidthsUm({
    ...sheet,
    apertureMm,
    focalLengthMm,
    usualSeeingArcsec,
  });
  return expectedFwhmPx(seeingUm, diffractionUm, pixelSizeUm);
}

export const sampling = (sheet: RigSheet): Told =>
  tell(
    {
      id: 'sampling',
      title: 'Scale and sampling',
      formula:
        'scale = 206.265 · pixel [µm] / focal length [mm]\nFWHM² = seeing² + diffraction² + 2.355²/12, in pixels\nfinest pixel of use = λF/2',
      source:
        'Elementary geometry; variances added, 1/12 px² for the pixel (Bertin & Arnouts 1996); Nyquist’s theorem with the cut-off 1/(λF), λ = 0.55 µm.',
    },
    sheet,
    ['focalLengthMm', 'apertureMm', 'pixelSizeUm', 'usualSeeingArcsec'],
    (known) => {
      const fwhm = centredFwhmPx(known)!;
      const scale = scaleArcsecPerPx(known.pixelSizeUm, known.focalLengthMm);
      const ratio = known.focalLengthMm / known.apertureMm;
      const { seeingUm, diffractionUm } = starWidthsUm(known);
      const leading =
        diffractionUm / known.pixelSizeUm > Math.max(1, seeingUm / known.pixelSizeUm)
          ? 'The aperture itself sets most of that width.'
          : seeingUm < 1.5 * known.pixelSizeUm
            ? 'The pixels set much of that width: they are coarser than the air.'
            : 'The air sets most of that width.';
      return [
        `One pixel sees ${told(scale, '″')}; a good star in usual air is ${told(fwhm, 'px')} wide.`,
        `${leading} Pixels below ${told(nyquistPixelUm(GREEN_UM, ratio), 'µm')} would show nothing more even without air.`,
      ];
    },
  );

export const field = (sheet: RigSheet): Told =>
  tell(
    {
      id: 'field',
      title: 'What fits into the frame',
      formula: 'field = 2 atan(side / 2f)',
      source:
        'Elementary geometry. Galaxies: isophotal sizes of RC3 (de Vaucouleurs et al. 1991), M31, M51 and M82 from memory; the Moon: mean diameter; the rest: common observing lists, from memory.',
    },
    sheet,
    ['focalLengthMm', 'sensorWidthMm', 'sensorHeightMm'],
    (known) => {
      const side = (mm: number) => {
        const degrees = fieldDeg(mm, known.focalLengthMm);
        return degrees >= 2 ? told(degrees, '°') : told(60 * degrees, '′');
      };
      return [
        `The frame covers ${side(known.sensorWidthMm)} × ${side(known.sensorHeightMm)} of sky.`,
        'The outline is the sensor; each object lies with its long axis along it.',
      ];
    },
  );

export const speed = (sheet: RigSheet, plan: Plan): Told =>
  tell(
    {
      id: 'speed',
      title: 'Speed of the focal ratio',
      formula: 'light per area of sensor ∝ 1/F²; equal light: t = t′ (F/F′)²',
      source:
        'Elementary photometry, same transmission assumed; f/4 against f/5 is 25/16 = 1.5625. Light of stars goes with the area of the aperture instead.',
    },
    sheet,
    ['focalLengthMm', 'apertureMm'],
    (known) => {
      const ratio = known.focalLengthMm / known.apertureMm;
      const times = speedRatio(ratio, plan.otherRatio);
      const equal = equalExposureS(ratio, plan.otherRatio, plan.otherExposureS);
      const lost = 1 - openFraction(known.obstruction ?? 0);
      return [
        `At ${ratioText(ratio)} a nebula gives ${told(times, '')} times the light per area of sensor that it gives at ${ratioText(plan.otherRatio)}: ${duration(plan.otherExposureS)} there are ${duration(equal)} here.`,
        lost > 0
          ? `The obstruction takes ${told(100 * lost, '%')} of the light; that is not counted above.`
          : 'Nothing stands in front of the aperture.',
      ];
    },
  );

/** Side of the field in arc minutes, for drawing. */
export const fieldArcmin = (sideMm: number, focalMm: number): number => 60 * fieldDeg(sideMm, focalMm);
