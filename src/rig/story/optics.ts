import {
  comaElongation,
  halfDiagonalMm,
  heightOfComaMm,
  largestSensorMm,
  sagittalComaUm,
  tangentialComaUm,
} from '../../../workers/rig/coma.ts';
import { focusWanderUmPerK, quarterWaveHalfUm, seeingHalfUm } from '../../../workers/rig/depth-of-focus.ts';
import { diffractionFwhm, firstDarkRadius } from '../../../workers/rig/diffraction.ts';
import {
  curvatureBlurUm,
  doubletFieldRadiusMm,
  mirrorFieldRadiusMm,
  sagMm,
} from '../../../workers/rig/field-curvature.ts';
import { FWHM_PER_SIGMA, GREEN_UM } from '../../../workers/rig/image-scale.ts';
import type { RigSheet } from '../../../workers/rig/sheet.ts';
import { sphereBlurUm, sphereErrorUm, sphereGoodRatio } from '../../../workers/rig/sphere.ts';
import { tolerableTiltDeg } from '../../../workers/rig/tilt.ts';
import { fullyLitFieldMm, neededStopMm, passedFraction } from '../../../workers/rig/vignetting.ts';
import type { Plan } from '../plan.ts';
import { centredFwhmPx, starWidthsUm } from './field.ts';
import { ratioText, tell, told, type Told } from './told.ts';

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

export const coma = (sheet: RigSheet, plan: Plan): Told => {
  const what = {
    id: 'coma',
    title: 'Coma at the edge of this sensor',
    formula:
      'tail = 3h/(16F²), h from the axis; independent of the mirror’s figure\nelongation² = (σ² + a Cs²)/(σ² + b Cs²), Cs = h/(16F²)',
    source:
      'Third order, stop at the mirror: Schroeder, Astronomical Optics, ch. 5–6. At f/4 exact rays spread 1 % more. Variances a, b of the coma spot over an annulus: derived from the same wavefront.',
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
      const fwhm = centredFwhmPx(known);
      const says = [
        `In the corners the comet’s tail is ${told(tailUm, 'µm')} long, ${told(tailUm / known.pixelSizeUm, 'px')}.`,
        radius >= corner
          ? `Up to ${told(plan.comaLimitPx, 'px')} reaches ${told(radius, 'mm')} from the axis: the whole sensor.`
          : `Tails stay below ${told(plan.comaLimitPx, 'px')} within ${told(radius, 'mm')} of the axis; a sensor of this shape would have to be ${told(fit.widthMm, 'mm')} × ${told(fit.heightMm, 'mm')}.`,
      ];
      if (fwhm !== null) {
        const sigmaUm = (fwhm * known.pixelSizeUm) / FWHM_PER_SIGMA;
        const elongation = comaElongation(sagittalComaUm(corner, ratio), sigmaUm, known.obstruction ?? 0);
        says.push(
          `With usual air, corner stars should measure ${told(100 * (elongation - 1), '%')} longer than wide. That much is the mirror’s own; more, or a node off the centre, is something else.`,
        );
      }
      return says;
    },
  );
};

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
    source: 'Plane geometry of the converging cone; beyond that field, overlap of two circles.',
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
