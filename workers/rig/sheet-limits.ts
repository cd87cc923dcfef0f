import { focalRatio, type NumberKey, type RigSheet } from './sheet.ts';

/** Bounds of a number, and the sentence for what lies outside. Wide: only what cannot be is refused. */
interface Limit {
  least: number;
  most: number;
  says: string;
}

const limit = (least: number, most: number, says: string): Limit => ({ least, most, says });

export const LIMITS: Record<NumberKey, Limit> = {
  apertureMm: limit(5, 3000, 'An aperture lies between 5 and 3000 mm: is this in millimetres?'),
  focalLengthMm: limit(8, 30000, 'A focal length lies between 8 and 30 000 mm: is this in millimetres?'),
  obstruction: limit(0, 0.8, 'Obstruction is diameter over diameter, 0 to 0.8: 35 % is written 0.35.'),
  secondaryMinorMm: limit(2, 1000, 'The minor axis of a secondary lies between 2 and 1000 mm.'),
  secondaryToFocusMm: limit(5, 3000, 'Secondary to focus is the way along the light: 5 to 3000 mm.'),
  sensorWidthMm: limit(0.5, 120, 'A sensor is between 0.5 and 120 mm wide: is this in millimetres?'),
  sensorHeightMm: limit(0.5, 120, 'A sensor is between 0.5 and 120 mm high: is this in millimetres?'),
  pixelSizeUm: limit(0.5, 50, 'A pixel is between 0.5 and 50 µm: is this in micrometres?'),
  bits: limit(8, 32, 'A converter has between 8 and 32 bits.'),
  readNoiseElectrons: limit(0, 100, 'Read noise lies between 0 and 100 electrons.'),
  fullWellElectrons: limit(100, 5e6, 'A full well holds between 100 and 5 000 000 electrons.'),
  gainElectronsPerAdu: limit(
    1e-3,
    1000,
    'Gain here is electrons per count, 0.001 to 1000, not a camera setting.',
  ),
  efficiency: limit(0.01, 1, 'Efficiency is a part of one: 60 % is written 0.6.'),
  flangeDepthMm: limit(0, 100, 'The sensor lies between 0 and 100 mm behind the front flange.'),
  filterThicknessMm: limit(0, 50, 'Filter glass is between 0 and 50 mm thick.'),
  filterIndex: limit(1.3, 2.2, 'The refractive index of glass lies between 1.3 and 2.2; crown has 1.52.'),
  filterBandNm: limit(0.1, 2000, 'The band passed is between 0.1 and 2000 nm wide; no filter is about 400.'),
  focusHeightMm: limit(-200, 1000, 'The focal plane lies between -200 and 1000 mm above the drawtube.'),
  focuserTravelMm: limit(0, 500, 'A focuser travels between 0 and 500 mm.'),
  focuserInnerMm: limit(5, 300, 'A drawtube is between 5 and 300 mm wide inside.'),
  focuserMmPerTurn: limit(0.01, 100, 'A turn of the knob moves the drawtube by 0.01 to 100 mm.'),
  adjusterRadiusMm: limit(3, 300, 'The screws of an adjuster lie 3 to 300 mm from the middle.'),
  adjusterPitchMm: limit(0.05, 5, 'A turn of an adjuster’s screw moves it by 0.05 to 5 mm; M4 has 0.7.'),
  adjusterFirstHour: limit(0, 12, 'A place on the clock lies between 0 and 12: 12 is up, 3 is right.'),
  correctorDistanceMm: limit(1, 500, 'A corrector works between 1 and 500 mm in front of the sensor.'),
  periodicErrorArcsec: limit(0, 7200, 'Periodic error, top to bottom, lies between 0 and 7200 arc seconds.'),
  periodicPeriodS: limit(1, 86400, 'A worm turns once in 1 to 86 400 seconds.'),
  polarErrorArcmin: limit(0, 1200, 'The polar axis is off by 0 to 1200 arc minutes.'),
  driftArcsecPerMin: limit(0, 1000, 'Drift lies between 0 and 1000 arc seconds per minute.'),
  latitudeDeg: limit(-90, 90, 'A latitude lies between -90 (south) and 90 (north) degrees.'),
  usualSeeingArcsec: limit(0.2, 20, 'Seeing lies between 0.2 and 20 arc seconds.'),
  skyMagPerArcsec2: limit(
    10,
    23,
    'Sky brightness lies between 10 (dusk) and 23 magnitudes per square arc second.',
  ),
  goodEnough: limit(
    1,
    5,
    'Good enough lies between 1 (as the air leaves it) and 5 times: 20 % wider is 1.2.',
  ),
};

export const NUMBER_KEYS = Object.keys(LIMITS) as NumberKey[];

/** Null when the number may be; otherwise why not, as a sentence. */
export function whyNot(key: NumberKey, value: number): string | null {
  const { least, most, says } = LIMITS[key];
  return Number.isFinite(value) && value >= least && value <= most ? null : says;
}

/** What does not fit together, each a sentence. Numbers that are out of bounds alone are not repeated here. */
export function contradictions(sheet: RigSheet): string[] {
  const found: string[] = [];
  const ratio = focalRatio(sheet);
  if (ratio !== null && (ratio < 0.7 || ratio > 60))
    found.push(
      `Focal length over aperture is f/${ratio.toFixed(1)}, which no telescope has: check both numbers.`,
    );
  const { secondaryMinorMm: secondary, apertureMm, obstruction, optics } = sheet;
  if (secondary && apertureMm && secondary >= apertureMm)
    found.push('The secondary is as large as the aperture: check both numbers.');
  else if (secondary && apertureMm && obstruction !== null && obstruction < (0.9 * secondary) / apertureMm)
    found.push(
      `A secondary of ${secondary} mm alone obstructs ${(secondary / apertureMm).toFixed(2)} of the aperture's diameter, more than the obstruction given.`,
    );
  if (obstruction && (optics === 'refractor' || optics === 'flattened-refractor' || optics === 'lens'))
    found.push('A lens has no central obstruction: set it to 0, or check the kind of optics.');
  const { sensorWidthMm, pixelSizeUm } = sheet;
  if (sensorWidthMm && pixelSizeUm && sensorWidthMm < 0.05 * pixelSizeUm)
    found.push('The sensor would be fewer than 50 pixels wide: check its width and the pixel size.');
  if (sheet.secondaryToFocusMm && sheet.focalLengthMm && sheet.secondaryToFocusMm >= sheet.focalLengthMm)
    found.push('The secondary would stand in front of the main mirror: check its distance from the focus.');
  return found;
}
