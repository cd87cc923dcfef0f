import type { SceneRig, SpectralSample } from '../../workers/simulate/scene.ts';

/** Three wavelengths: enough colour to be unlike a fit with one. */
export const LIGHT: SpectralSample[] = [
  { wavelengthUm: 0.47, focusShiftUm: 0, mono: 0.3, R: 0.02, G: 0.15, B: 0.6 },
  { wavelengthUm: 0.54, focusShiftUm: 0, mono: 0.38, R: 0.08, G: 0.7, B: 0.12 },
  { wavelengthUm: 0.63, focusShiftUm: 0, mono: 0.32, R: 0.7, G: 0.12, B: 0.02 },
];

export interface Instrument {
  name: string;
  rig: Partial<SceneRig>;
  /** Strengths of the design's own coma and astigmatism, 1 = bare paraboloid, and its focal surface. */
  coma: number;
  astigmatism: number;
  curvatureRadiusMm: number;
}

export const INSTRUMENTS: Instrument[] = [
  {
    name: 'newtonian f/4, corrected',
    rig: {
      focalLengthMm: 800,
      focalRatio: 4,
      obstruction: 0.3,
      pixelSizeUm: 5.2,
      widthPx: 1500,
      heightPx: 1000,
    },
    coma: 0.04,
    astigmatism: 0.06,
    curvatureRadiusMm: 0,
  },
  {
    name: 'refractor f/6',
    rig: {
      focalLengthMm: 450,
      focalRatio: 6,
      obstruction: 0,
      pixelSizeUm: 3.8,
      widthPx: 1600,
      heightPx: 1100,
    },
    coma: 0.03,
    astigmatism: 0.05,
    curvatureRadiusMm: 0,
  },
  {
    name: 'newtonian f/4.5, small sensor',
    rig: {
      focalLengthMm: 585,
      focalRatio: 4.5,
      obstruction: 0.33,
      pixelSizeUm: 3.1,
      widthPx: 1400,
      heightPx: 1000,
    },
    coma: 0.05,
    astigmatism: 0.08,
    curvatureRadiusMm: 585,
  },
  {
    name: 'refractor f/6, large pixels',
    rig: {
      focalLengthMm: 430,
      focalRatio: 6,
      obstruction: 0,
      pixelSizeUm: 7.4,
      widthPx: 1400,
      heightPx: 950,
    },
    coma: 0.03,
    astigmatism: 0.05,
    curvatureRadiusMm: 0,
  },
  {
    name: 'newtonian f/5, mosaic',
    rig: {
      focalLengthMm: 650,
      focalRatio: 5,
      obstruction: 0.28,
      pixelSizeUm: 3.8,
      widthPx: 1600,
      heightPx: 1100,
      mosaic: 'RGGB',
    },
    coma: 0.05,
    astigmatism: 0.06,
    curvatureRadiusMm: 0,
  },
];
