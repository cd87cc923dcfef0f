import type { FitsCard } from './fits.ts';
import { makeScene, type Scene, type SceneChanges, type SpectralSample, VISIBLE_LIGHT } from './scene.ts';

/**
 * The open evening of an astronomy club: three instruments, eight exposures, each with its own story. All invented.
 */
export interface EveningFrame {
  name: string;
  title: string;
  story: string;
  instrument: string;
  /** Start of the exposure, UTC. */
  startTime: string;
  camera: string;
  scene: Scene;
}

/** Glass brings green to focus first; `spreadUm` is how far behind the ends of the spectrum come. */
const throughGlass = (spreadUm: number): SpectralSample[] =>
  VISIBLE_LIGHT.map((sample) => ({
    ...sample,
    focusShiftUm: -spreadUm * ((sample.wavelengthUm - 0.54) / 0.1) ** 2,
  }));

/** A cooled sensor without colour filters, of which mostly the middle is read out. */
const MONO: SceneChanges['rig'] = {
  pixelSizeUm: 4.8,
  widthPx: 1080,
  heightPx: 810,
  bits: 12,
  gainElectronsPerAdu: 0.3125,
  fullWellElectrons: 20_000,
  readNoiseElectrons: 2,
  offsetAdu: 640,
};
const FULL: SceneChanges['rig'] = { ...MONO, widthPx: 1360, heightPx: 1020 };
/** The little one that usually guides, on the refractor. */
const GUIDER: SceneChanges['rig'] = { ...MONO, pixelSizeUm: 3.4 };
/** The everyday one: two megapixels in colour, short exposures. */
const COLOUR: SceneChanges['rig'] = {
  pixelSizeUm: 2.9,
  widthPx: 1936,
  heightPx: 1096,
  mosaic: 'RGGB',
  bits: 12,
  gainElectronsPerAdu: 0.19,
  fullWellElectrons: 12_000,
  readNoiseElectrons: 1.3,
  offsetAdu: 640,
};

const NIGHT: SceneChanges = {
  sky: { seeingArcsec: 2.4, skyElectronsPerPx: 14, gradient: { x: 0.04, y: -0.06 } },
  stars: { count: 220, faintestElectrons: 900, brightestElectrons: 300_000, slope: 0.42 },
  disturbances: { hotPixels: 60, cosmicRays: 3 },
};

const HERON_RIG: SceneChanges['rig'] = {
  focalLengthMm: 750,
  focalRatio: 5,
  obstruction: 0.3,
  vanes: { count: 4, widthFraction: 0.006, angleDeg: 45 },
  vignetting: 0.12,
};
/** The bare mirror, and the mirror with the club's corrector lens. */
const BARE: SceneChanges['optics'] = { comaStrength: 1, astigmatismStrength: 1, curvatureRadiusMm: 750 };
const CORRECTED: SceneChanges['optics'] = { comaStrength: 0.05, astigmatismStrength: 0.1 };
const heron = (camera: SceneChanges['rig'], changes: SceneChanges): Scene =>
  makeScene({ ...changes, rig: { ...HERON_RIG, ...camera } }, makeScene(NIGHT));
const finch = (changes: SceneChanges): Scene =>
  makeScene(
    {
      ...changes,
      rig: { focalLengthMm: 432, focalRatio: 6, vignetting: 0.05, ...GUIDER },
      spectrum: throughGlass(9),
    },
    makeScene(NIGHT),
  );
const owl = (changes: SceneChanges): Scene =>
  makeScene(
    {
      ...changes,
      rig: { focalLengthMm: 135, focalRatio: 2.8, vignetting: 0.25, ...MONO },
      spectrum: throughGlass(5),
    },
    makeScene(NIGHT),
  );

const HERON = 'Heron, reflector 150 mm f/5';
const FINCH = 'Finch, refractor 72 mm f/6';
const OWL = 'Owl, lens 135 mm f/2.8';
const MONO_CAMERA = 'Monochrome camera';
const GUIDE_CAMERA = 'Guiding camera';
const COLOUR_CAMERA = 'Small colour camera';

export const EVENING: EveningFrame[] = [
  {
    name: 'heron-first-light',
    title: 'First picture of the evening',
    story:
      'The big reflector straight out of the car, camera in the eyepiece holder, nothing in between. In the middle the stars look fine; the visitors ask about the corners.',
    instrument: HERON,
    startTime: '2026-10-17T18:52:10',
    camera: MONO_CAMERA,
    scene: heron(FULL, {
      optics: { ...BARE, focusUm: -4, axisMm: { x: 0.15, y: -0.1 } },
      stars: { count: 260, faintestElectrons: 1200, brightestElectrons: 400_000, slope: 0.42 },
      sky: { seeingArcsec: 2.1 },
      exposureS: 8,
      seed: 101,
    }),
  },
  {
    name: 'finch-supper-break',
    title: 'During supper',
    story: 'Everybody is at the sausages, nobody walks about, and the little refractor is left alone.',
    instrument: FINCH,
    startTime: '2026-10-17T19:24:41',
    camera: GUIDE_CAMERA,
    scene: finch({ optics: { focusUm: 5 }, exposureS: 10, seed: 102 }),
  },
  {
    name: 'finch-long-adapter',
    title: 'With the borrowed adapter',
    story:
      'A member lends a screw adapter. Since then one side of the picture is sharp and the other is not.',
    instrument: FINCH,
    startTime: '2026-10-17T19:47:03',
    camera: GUIDE_CAMERA,
    scene: finch({
      optics: { focusUm: 12, tiltUmPerMm: { x: 36, y: -16 } },
      stars: { count: 240, faintestElectrons: 1000, brightestElectrons: 300_000, slope: 0.42 },
      exposureS: 10,
      seed: 103,
    }),
  },
  {
    name: 'heron-children-first',
    title: 'After the children looked through',
    story:
      'The eyepiece went in for the youngest visitors, then the camera came back with its corrector lens, and somebody had turned the knob.',
    instrument: HERON,
    startTime: '2026-10-17T20:05:30',
    camera: MONO_CAMERA,
    scene: heron(MONO, {
      optics: { ...CORRECTED, focusUm: 190 },
      stars: { count: 120, faintestElectrons: 6000, brightestElectrons: 500_000, slope: 0.45 },
      exposureS: 8,
      seed: 104,
    }),
  },
  {
    name: 'owl-wide-field',
    title: 'The wide field',
    story:
      'The camera lens rides on an old mount whose feet stand in the wet meadow. Half a minute, open shutter.',
    instrument: OWL,
    startTime: '2026-10-17T20:31:15',
    camera: MONO_CAMERA,
    scene: owl({
      optics: { sphericalUm: 0.1, focusUm: 3, comaStrength: 0.1 },
      sky: { jitterArcsec: 4 },
      motion: [{ kind: 'drift', vectorUm: { x: 21, y: 6 } }],
      stars: { count: 300, faintestElectrons: 1500, brightestElectrons: 300_000, slope: 0.42 },
      exposureS: 30,
      seed: 105,
    }),
  },
  {
    name: 'heron-galaxy',
    title: 'A galaxy for the visitors',
    story:
      'The small colour camera, four seconds, a faint smudge that the crowd wants to see. In the dark somebody finds a leg of the tripod with his foot.',
    instrument: HERON,
    startTime: '2026-10-17T20:58:47',
    camera: COLOUR_CAMERA,
    scene: heron(COLOUR, {
      optics: { ...CORRECTED, focusUm: 6 },
      sky: { skyElectronsPerPx: 3, gradient: { x: 0.05, y: 0.03 } },
      motion: [{ kind: 'jump', vectorUm: { x: 19, y: -13 }, atFraction: 0.62 }],
      stars: { count: 48, faintestElectrons: 2500, brightestElectrons: 200_000, slope: 0.4 },
      disturbances: { hotPixels: 150, cosmicRays: 2, galaxies: 1 },
      exposureS: 4,
      seed: 106,
    }),
  },
  {
    name: 'heron-cold-mirror',
    title: 'When it got cold',
    story:
      'Two hours later the tube is white with frost, and the stars have turned into little three-cornered things all over the picture.',
    instrument: HERON,
    startTime: '2026-10-17T21:40:22',
    camera: MONO_CAMERA,
    scene: heron(MONO, {
      optics: { ...CORRECTED, focusUm: 14, trefoilUm: { cos: 0.42, sin: 0.2 } },
      exposureS: 8,
      seed: 107,
    }),
  },
  {
    name: 'heron-after-the-tour',
    title: 'After the tour of the instrument',
    story:
      'A visitor was allowed to find out what the three screws behind the mirror are for. The corrector is out again, and the finest stars are no longer in the middle.',
    instrument: HERON,
    startTime: '2026-10-17T22:13:58',
    camera: MONO_CAMERA,
    scene: heron(MONO, {
      optics: { ...BARE, focusUm: -3, axisMm: { x: -2.1, y: 1.3 } },
      stars: { count: 240, faintestElectrons: 1200, brightestElectrons: 400_000, slope: 0.42 },
      exposureS: 8,
      seed: 108,
    }),
  },
];

/** What a capture program would write into the header; it knows nothing of a central obstruction. */
export function headerCards({ scene, startTime, instrument, camera }: EveningFrame): FitsCard[] {
  const { rig, exposureS } = scene;
  return [
    ['IMAGETYP', 'Light Frame'],
    ['DATE-OBS', startTime, 'start of exposure, UTC'],
    ['EXPTIME', exposureS, 'seconds'],
    ['XPIXSZ', rig.pixelSizeUm, 'micrometres'],
    ['YPIXSZ', rig.pixelSizeUm, 'micrometres'],
    ['XBINNING', 1],
    ['YBINNING', 1],
    ['EGAIN', rig.gainElectronsPerAdu, 'electrons per ADU'],
    ['FOCALLEN', rig.focalLengthMm, 'millimetres'],
    ['APTDIA', Math.round((10 * rig.focalLengthMm) / rig.focalRatio) / 10, 'millimetres'],
    ...(rig.mosaic
      ? ([
          ['BAYERPAT', rig.mosaic],
          ['XBAYROFF', 0],
          ['YBAYROFF', 0],
        ] as FitsCard[])
      : []),
    ['INSTRUME', camera],
    ['TELESCOP', instrument],
    ['ORIGIN', 'simulated, for demonstration'],
  ];
}
