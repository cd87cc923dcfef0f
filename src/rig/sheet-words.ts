import type { OpticsKind } from '../../workers/protocol/rig.ts';
import type { AdjusterKind, NumberKey, RigSheet } from '../../workers/rig/sheet.ts';

/** How the sheet is asked for: groups of rows, each with its words. */
export interface NumberRow {
  key: NumberKey;
  label: string;
  unit: string;
  hint?: string;
}

export const OPTICS_WORDS: Record<OpticsKind, string> = {
  paraboloid: 'Reflector, parabolic mirror',
  sphere: 'Reflector, spherical mirror',
  'corrected-reflector': 'Reflector with corrector',
  refractor: 'Refractor',
  'flattened-refractor': 'Refractor with flattener',
  catadioptric: 'Catadioptric',
  lens: 'Camera lens',
};

const row = (key: NumberKey, label: string, unit: string, hint?: string): NumberRow => ({
  key,
  label,
  unit,
  hint,
});

export const TELESCOPE_ROWS = [
  row('apertureMm', 'Aperture', 'mm'),
  row('focalLengthMm', 'Focal length', 'mm'),
  row(
    'obstruction',
    'Central obstruction',
    'of the diameter',
    'Diameter of the secondary’s holder over the aperture.',
  ),
  row('secondaryMinorMm', 'Secondary, minor axis', 'mm'),
  row('secondaryToFocusMm', 'Secondary to focal plane', 'mm', 'From its middle, along the light.'),
];
export const CAMERA_ROWS = [
  row('sensorWidthMm', 'Sensor width', 'mm'),
  row('sensorHeightMm', 'Sensor height', 'mm'),
  row('pixelSizeUm', 'Pixel', 'µm'),
  row(
    'flangeDepthMm',
    'Sensor behind front flange',
    'mm',
    'In the maker’s drawing; 12.5 and 17.5 are common.',
  ),
  row('bits', 'Converter', 'bit'),
  row('readNoiseElectrons', 'Read noise', 'electrons'),
  row('fullWellElectrons', 'Full well', 'electrons', 'At the gain in use.'),
  row(
    'gainElectronsPerAdu',
    'Gain',
    'electrons per count',
    'Of the numbers in the file, not the camera’s setting.',
  ),
  row('efficiency', 'Light counted', 'of one', 'Sensor, mirrors and glass together; 0.5 is usual.'),
];
export const FILTER_ROWS = [
  row('filterThicknessMm', 'Filter glass, thickness', 'mm'),
  row('filterIndex', 'Filter glass, index', '', 'Crown 1.52.'),
  row('filterBandNm', 'Band passed', 'nm', 'About 300 with a UV/IR cut, 7 for a narrow band.'),
];
export const FOCUSER_ROWS = [
  row(
    'focusHeightMm',
    'Focal plane above drawtube',
    'mm',
    'Focuser fully in, no camera: catch the Moon’s image on paper and measure from the drawtube’s end.',
  ),
  row('focuserTravelMm', 'Travel', 'mm'),
  row('focuserInnerMm', 'Inner diameter', 'mm'),
  row('focuserMmPerTurn', 'Travel per turn', 'mm'),
  row('correctorDistanceMm', 'Corrector to sensor', 'mm', 'As its maker asks; 55 is common.'),
];
export const ADJUSTER_ROWS = [
  row('adjusterRadiusMm', 'Screws or shims from the middle', 'mm'),
  row('adjusterPitchMm', 'Travel per turn of a screw', 'mm', 'M3 0.5, M4 0.7; empty means shims.'),
  row(
    'adjusterFirstHour',
    'First one lies in the picture at',
    'o’clock',
    '12 is up, 3 is right. To find out: put paper under the first one and take a focus run: where the sensor has moved farthest out, there it is.',
  ),
];
export const MOUNT_ROWS = [
  row('periodicErrorArcsec', 'Periodic error, top to bottom', '″'),
  row('periodicPeriodS', 'Turn of the worm', 's'),
  row('polarErrorArcmin', 'Polar axis off by', '′'),
  row('driftArcsecPerMin', 'Other drift', '″ per minute'),
];
export const SITE_ROWS = [
  row('latitudeDeg', 'Latitude', '°', 'South is negative.'),
  row('usualSeeingArcsec', 'Usual seeing', '″ FWHM'),
  row('skyMagPerArcsec2', 'Sky', 'mag per ″²', '21.5 dark, 20 village, 18 town.'),
  row(
    'goodEnough',
    'Good enough: corner stars',
    'times as wide',
    'As air and pixels alone leave them; up to this the verdict is to start the run. 1.2 = 20 % wider.',
  ),
];

export const ADJUSTER_WORDS: Record<AdjusterKind, string> = {
  none: 'None',
  three: 'Three points',
  four: 'Four points',
};

export const FIXED_WORDS: { key: keyof RigSheet['fixed']; text: string }[] = [
  { key: 'corrector', text: 'No corrector fits' },
  { key: 'primary', text: 'The main mirror cannot be adjusted or moved' },
  { key: 'tilt', text: 'The sensor’s tilt cannot be adjusted' },
  { key: 'focuserAtStop', text: 'The focuser stands at its stop' },
];

const ALL = [
  ...TELESCOPE_ROWS,
  ...CAMERA_ROWS,
  ...FILTER_ROWS,
  ...FOCUSER_ROWS,
  ...ADJUSTER_ROWS,
  ...MOUNT_ROWS,
  ...SITE_ROWS,
];

/** Names of the numbers among `keys` that are not told yet, as they stand in the sheet. */
export const untold = (sheet: RigSheet, keys: NumberKey[]): string[] =>
  ALL.filter(({ key }) => keys.includes(key) && sheet[key] === null).map(({ label }) => label.toLowerCase());
