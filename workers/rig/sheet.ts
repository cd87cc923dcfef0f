import type { Following, OpticsKind, Rig } from '../protocol/rig.ts';
import type { TubeMaterial } from './depth-of-focus.ts';

export const ADJUSTER_KINDS = ['none', 'three', 'four'] as const;
export type AdjusterKind = (typeof ADJUSTER_KINDS)[number];

/**
 * Everything that one combination of telescope, camera, mount and site can be asked about. Null = not told; lengths
 * carry their unit. Plain data: what is kept, exported and imported is exactly this.
 */
export interface RigSheet {
  name: string;
  optics: OpticsKind | null;
  apertureMm: number | null;
  focalLengthMm: number | null;
  /** Linear central obstruction, 0 to 0.8. */
  obstruction: number | null;
  tube: TubeMaterial | null;
  /** Minor axis of the secondary and its distance from the focal plane along the light. */
  secondaryMinorMm: number | null;
  secondaryToFocusMm: number | null;

  sensorWidthMm: number | null;
  sensorHeightMm: number | null;
  pixelSizeUm: number | null;
  bits: number | null;
  colour: 'mono' | 'mosaic' | null;
  readNoiseElectrons: number | null;
  fullWellElectrons: number | null;
  gainElectronsPerAdu: number | null;
  /** Part of the light that becomes counted electrons: sensor, glass and mirrors together. */
  efficiency: number | null;
  flangeDepthMm: number | null;

  filterThicknessMm: number | null;
  filterIndex: number | null;
  filterBandNm: number | null;

  /** Height of the focal plane above the drawtube's end, focuser fully in. */
  focusHeightMm: number | null;
  focuserTravelMm: number | null;
  focuserInnerMm: number | null;
  focuserMmPerTurn: number | null;
  adapters: { name: string; lengthMm: number }[];
  /** A plate between telescope and camera that leans by screws or shims; 'none' = there is no such thing. */
  adjuster: AdjusterKind | null;
  /** Radius of the circle of its points. */
  adjusterRadiusMm: number | null;
  /** Travel a whole turn; null = shims. */
  adjusterPitchMm: number | null;
  /** Where its first point lies in the picture, as on the face of a clock: 12 (or 0) is up, 3 is right. */
  adjusterFirstHour: number | null;
  /** Distance from a corrector's shoulder to the sensor that its maker asks for. */
  correctorDistanceMm: number | null;

  following: Following | null;
  periodicErrorArcsec: number | null;
  periodicPeriodS: number | null;
  polarErrorArcmin: number | null;
  driftArcsecPerMin: number | null;

  latitudeDeg: number | null;
  usualSeeingArcsec: number | null;
  skyMagPerArcsec2: number | null;
  /** Blur in the corners over what air and pixels leave, up to which the user starts the run. */
  goodEnough: number | null;

  fixed: Rig['fixed'];
}

export const EMPTY_SHEET: RigSheet = {
  name: 'New rig',
  optics: null,
  apertureMm: null,
  focalLengthMm: null,
  obstruction: null,
  tube: null,
  secondaryMinorMm: null,
  secondaryToFocusMm: null,
  sensorWidthMm: null,
  sensorHeightMm: null,
  pixelSizeUm: null,
  bits: null,
  colour: null,
  readNoiseElectrons: null,
  fullWellElectrons: null,
  gainElectronsPerAdu: null,
  efficiency: null,
  flangeDepthMm: null,
  filterThicknessMm: null,
  filterIndex: null,
  filterBandNm: null,
  focusHeightMm: null,
  focuserTravelMm: null,
  focuserInnerMm: null,
  focuserMmPerTurn: null,
  adapters: [],
  adjuster: null,
  adjusterRadiusMm: null,
  adjusterPitchMm: null,
  adjusterFirstHour: null,
  correctorDistanceMm: null,
  following: null,
  periodicErrorArcsec: null,
  periodicPeriodS: null,
  polarErrorArcmin: null,
  driftArcsecPerMin: null,
  latitudeDeg: null,
  usualSeeingArcsec: null,
  skyMagPerArcsec2: null,
  goodEnough: null,
  fixed: { corrector: false, primary: false, tilt: false, focuserAtStop: false },
};

/** Keys of the numbers. */
export type NumberKey = {
  [Key in keyof RigSheet]: number extends RigSheet[Key] ? Key : never;
}[keyof RigSheet];

/** Focal ratio; null while aperture or focal length is not told. */
export const focalRatio = ({
  apertureMm,
  focalLengthMm,
}: Pick<RigSheet, 'apertureMm' | 'focalLengthMm'>): number | null =>
  apertureMm && focalLengthMm ? focalLengthMm / apertureMm : null;

/** What measurement and fit want to know of a rig; only what was told, so that the header keeps the rest. */
export function rigOf(sheet: RigSheet): Partial<Rig> {
  const { optics, focalLengthMm, apertureMm, obstruction, pixelSizeUm } = sheet;
  const { usualSeeingArcsec, following, goodEnough } = sheet;
  const glass = { optics, focalLengthMm, apertureMm, obstruction, pixelSizeUm };
  const told = { ...glass, usualSeeingArcsec, following, goodEnough };
  return {
    ...Object.fromEntries(Object.entries(told).filter(([, value]) => value !== null)),
    fixed: { ...sheet.fixed },
  };
}
