import {
  halfDiagonalMm,
  heightOfComaMm,
  largestSensorMm,
  tangentialComaUm,
} from '../../../workers/rig/coma.ts';
import { diffractionFwhm, firstDarkRadius } from '../../../workers/rig/diffraction.ts';
import { GREEN_UM } from '../../../workers/rig/image-scale.ts';
import type { RigSheet } from '../../../workers/rig/sheet.ts';
import { sphereBlurUm, sphereErrorUm, sphereGoodRatio } from '../../../workers/rig/sphere.ts';
import { fullyLitFieldMm, neededStopMm, passedFraction } from '../../../workers/rig/vignetting.ts';
import type { Plan } from '../plan.ts';
import { isBareMirror } from './focal-surface.ts';
import { plannedCells } from './planned.ts';
import { ratioText, tell, told, type Told } from './told.ts';

export const coma = (sheet: RigSheet, plan: Plan): Told => {
  const what = {
    id: 'coma',
    title: 'Coma at the edge of this sensor',
    formula:
      'tail = 3h/(16F²), h from the axis; independent of the mirror’s figure\nelongation: the star through usual air and the pixel, matched by an elliptical Gaussian',
    source:
      'Third order, stop at the mirror: Schroeder, Astronomical Optics, ch. 5–6. At f/4 exact rays spread 1 % more. Elongation: wave optics through Kolmogorov’s air (Fried 1966); matched weight of Bernstein & Jarvis 2002.',
  };
  if (sheet.optics === null) return { ...what, missing: ['kind of optics'], says: [] };
  if (!isBareMirror(sheet))
    return {
      ...what,
      missing: [],
      says: [
        'For these optics there is no simple law: what is left depends on the design, and on the corrector’s distance to the sensor.',
        'The maker’s spot diagrams tell it, and a measured frame shows it.',
      ],
    };
  return tell(
    what,
    sheet,
    ['focalLengthMm', 'apertureMm', 'pixelSizeUm', 'sensorWidthMm', 'sensorHeightMm'],
    (known) => {
      const ratio = known.focalLengthMm / known.apertureMm;
      const corner = halfDiagonalMm(known.sensorWidthMm, known.sensorHeightMm);
      const tailUm = tangentialComaUm(corner, ratio);
      const radius = heightOfComaMm(plan.comaLimitPx * known.pixelSizeUm, ratio);
      const fit = largestSensorMm(radius, known.sensorHeightMm / known.sensorWidthMm);
      const says = [
        `In the corners the comet’s tail is ${told(tailUm, 'µm')} long, ${told(tailUm / known.pixelSizeUm, 'px')}.`,
        radius >= corner
          ? `Up to ${told(plan.comaLimitPx, 'px')} reaches ${told(radius, 'mm')} from the axis: the whole sensor.`
          : `Tails stay below ${told(plan.comaLimitPx, 'px')} within ${told(radius, 'mm')} of the axis; a sensor of this shape would have to be ${told(fit.widthMm, 'mm')} × ${told(fit.heightMm, 'mm')}.`,
      ];
      const elongation = plannedCells(known)?.regions[0].elongation;
      if (elongation)
        says.push(
          `With usual air, a star in the middle of a corner ninth should measure about ${told(100 * (elongation.value - 1), '%')} longer than wide. That much is the mirror’s own; more, or a node off the centre, is something else.`,
        );
      return says;
    },
  );
};

export const airy = (sheet: RigSheet): Told =>
  tell(
    {
      id: 'airy',
      title: 'The finest star the aperture makes',
      formula: 'I ∝ [2J₁(v)/v − ε² 2J₁(εv)/(εv)]², v = πθD/λ',
      source: 'Airy 1835; annulus: Born & Wolf § 8.6 (section number from memory). λ = 0.55 µm.',
    },
    sheet,
    ['focalLengthMm', 'apertureMm'],
    (known) => {
      const ratio = known.focalLengthMm / known.apertureMm;
      const unit = GREEN_UM * ratio;
      const obstruction = known.obstruction ?? 0;
      return [
        `Without air a star would be ${told(diffractionFwhm(obstruction) * unit, 'µm')} wide at half its height, with the first dark ring ${told(2 * firstDarkRadius(obstruction) * unit, 'µm')} across.`,
      ];
    },
  );

export const sphere = (sheet: RigSheet): Told =>
  tell(
    {
      id: 'sphere',
      title: 'A spherical mirror’s own blur',
      formula: 'error at best focus = D/(2048F³); smallest blur = D/(128F²)',
      source:
        'Third order: a sphere lies r⁴/(8R³) off the paraboloid, R = 2f. Agrees with Texereau’s F³ = 88.6 D (inches), from memory.',
    },
    sheet,
    ['focalLengthMm', 'apertureMm'],
    (known) => {
      const ratio = known.focalLengthMm / known.apertureMm;
      const waves = sphereErrorUm(known.apertureMm, ratio) / GREEN_UM;
      return [
        `Being a sphere costs ${told(waves, 'waves')} at best focus; rays fill a disc of ${told(sphereBlurUm(known.apertureMm, ratio), 'µm')}, everywhere in the field.`,
        `At this aperture a quarter wave is reached at ${ratioText(sphereGoodRatio(known.apertureMm, GREEN_UM))}.`,
      ];
    },
  );

export const vignetting = (sheet: RigSheet): Told => {
  const what = {
    id: 'vignetting',
    title: 'Light lost towards the edge',
    formula: 'stop of diameter a at L from the focus: all light reaches a field of (a f − D L)/(f − L)',
    source:
      'Plane geometry of the converging cone; beyond that field, overlap of two circles. The focuser’s narrowest place is taken at its lower end, its travel below the drawtube’s end; the secondary’s offset is taken as made.',
  };
  const stops = stopsOf(sheet);
  if (sheet.apertureMm && sheet.focalLengthMm && stops.length === 0)
    return {
      ...what,
      says: [],
      missing: [
        'secondary with its distance to the focal plane, or the focuser’s inner diameter with the height of the focal plane',
      ],
    };
  return tell(what, sheet, ['focalLengthMm', 'apertureMm', 'sensorWidthMm', 'sensorHeightMm'], (known) => {
    const corner = halfDiagonalMm(known.sensorWidthMm, known.sensorHeightMm);
    return stops.map(({ name, stop }) => {
      const field = fullyLitFieldMm(stop, known.apertureMm, known.focalLengthMm);
      const left = 100 * passedFraction(stop, corner, known.apertureMm, known.focalLengthMm);
      const needed = neededStopMm(stop.toFocusMm, 2 * corner, known.apertureMm, known.focalLengthMm);
      return field < 0
        ? `The ${name} is too small even for the middle: it should be ${told(needed, 'mm')}.`
        : `The ${name} gives all light to a circle of ${told(field, 'mm')}; corners get ${told(left, '%')} of it${left < 99.5 ? ` (all, were it ${told(needed, 'mm')})` : ''}.`;
    });
  });
};

/** Round stops in the cone that the sheet knows of. */
export function stopsOf(
  sheet: RigSheet,
): { name: string; stop: { diameterMm: number; toFocusMm: number } }[] {
  const stops = [];
  if (sheet.secondaryMinorMm && sheet.secondaryToFocusMm)
    stops.push({
      name: 'secondary',
      stop: { diameterMm: sheet.secondaryMinorMm, toFocusMm: sheet.secondaryToFocusMm },
    });
  // The drawtube's lower end, as far from the focus as the tube is taken to be long: its travel and the height above it.
  if (sheet.focuserInnerMm && sheet.focusHeightMm !== null && sheet.focuserTravelMm !== null)
    stops.push({
      name: 'focuser',
      stop: {
        diameterMm: sheet.focuserInnerMm,
        toFocusMm: Math.max(1, sheet.focusHeightMm + sheet.focuserTravelMm),
      },
    });
  return stops;
}
