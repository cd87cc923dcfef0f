import type { ModelCause } from '../fit/causes.ts';
import type { Cause, Experiment } from '../protocol/report.ts';

/**
 * Share of the unavoidable variance (round blur, diffraction, pixel) that a cause's corner variance must exceed before
 * it is worth naming, and why.
 */
export const WORTH_NAMING: Record<ModelCause['key'], { share: number; because: string }> = {
  focus: {
    share: 0.42,
    because: 'defocus adds with its square: below this it widens a corner star by less than 15 %',
  },
  tilt: { share: 0.42, because: 'defocus again, in the corners only' },
  curvature: { share: 0.42, because: 'defocus again, in the corners only' },
  coma: { share: 0.25, because: 'a tail is seen earlier than a wider disc' },
  astigmatism: { share: 0.25, because: 'elongation is seen earlier than a wider disc' },
  pinching: { share: 0.25, because: 'three corners are seen earlier than a wider disc' },
  spherical: { share: 0.42, because: 'it widens all stars alike' },
  motion: { share: 0.25, because: 'elongation is seen earlier than a wider disc' },
  dispersion: { share: 0.12, because: 'coloured edges are seen at half a pixel' },
};

/** Standard errors that a cause must be away from zero. */
export const LEAST_SIGNIFICANCE = 3;

/** Without the site's usual seeing: round blur wider than this is poor air, tube or shake anywhere (common practice). */
export const POOR_ROUND_BLUR_ARCSEC = 4.5;
/** Round blur this much wider than usual is worth a word, and needs this factor to be the verdict. */
export const POOR_AGAINST_USUAL = 1.4;

/** Astigmatism of at least this share of the defocus goes first: refocusing would not cure it. */
export const ASTIGMATISM_BEFORE_FOCUS = 0.5;

/**
 * Causes that widen every star alike can be told from air only by the shape that this very aperture gives them. Where
 * nobody told the focal ratio they must exceed this share of the unavoidable variance; `most`: how sure a round frame is.
 */
export const UNTOLD_OPTICS: {
  share: Partial<Record<ModelCause['key'], number>>;
  most: number;
  because: string;
} = {
  share: { focus: 2.5, spherical: Infinity },
  most: 0.75,
  because: 'a wider disc may be air, focus or the lens itself; a ring is out of focus whatever the telescope',
};

/** Coma off the middle is no misalignment where the frame may be a part of the sensor: nobody told the optics. */
export const UNTOLD_AXIS = 0.6;

/** Above this much trust in the model the stars' shapes by themselves have no vote. */
export const PHYSICS_HOLDS = 0.9;
/** Up to here the model hardly describes the stars: that it finds nothing says nothing. */
export const BARELY_A_MODEL = 0.65;
/**
 * How sure the stars' plain shapes are: where the model's largest cause is the same, where all are long alike, where
 * another pattern stands out; and below which the model's own word gives way to them. They never name a screw.
 */
export const PLAIN_WORDS = { agreed: 0.8, alone: 0.7, pattern: 0.5, rather: 0.4 };

/**
 * How sure a verdict can be where not all objects are stars, and where the picture's brightness was altered, which widens
 * bright stars and hides the faint light that causes are told by.
 */
export const DOUBTED = { notStars: 0.3, altered: 0.5 };
/** Stars narrower than this on a telescope that nobody told: most of their shape is the pixel's, causes differ by tenths of one. */
export const COARSE = { px: 1.6, most: 0.6 };

/** Which frame tells two explanations apart, first match wins. */
export const DECIDERS: readonly {
  between: readonly [readonly Cause[], readonly Cause[]];
  experiment: Experiment;
  say: string;
}[] = [
  {
    between: [
      ['trailing', 'rotation'],
      ['astigmatism', 'focus', 'coma', 'collimation', 'pinching', 'tilt', 'curvature'],
    ],
    experiment: 'halve-exposure',
    say: 'Take four frames of half the exposure: a steady trail halves, gusts scatter, the optics stay as they are.',
  },
  {
    between: [['trailing'], ['dispersion']],
    experiment: 'next-frame',
    say: 'Take the next frame without touching anything: tracking moves the stars on, the air does not.',
  },
  {
    between: [['dispersion'], ['astigmatism', 'coma', 'collimation', 'pinching', 'focus']],
    experiment: 'change-filter',
    say: 'Take a frame through one narrow filter: what the air spreads shrinks, what the optics do stays.',
  },
  {
    between: [['trailing'], ['rotation']],
    experiment: 'next-frame',
    say: 'Take the next frame: a drift shifts all stars alike, a rotation turns them about one point.',
  },
  {
    between: [
      ['seeing', 'clean'],
      ['focus', 'spherical', 'curvature', 'tilt'],
    ],
    experiment: 'refocus-step',
    say: 'Move the focuser by one small step and take the same frame again: defocus changes, the air does not.',
  },
  {
    between: [
      ['focus', 'tilt', 'curvature', 'astigmatism'],
      ['focus', 'tilt', 'curvature', 'astigmatism'],
    ],
    experiment: 'refocus-step',
    say: 'Move the focuser by one small step and take the same frame again: each corner then tells its side of focus.',
  },
  {
    between: [
      ['coma', 'collimation'],
      ['pinching', 'astigmatism', 'tilt', 'curvature', 'focus'],
    ],
    experiment: 'refocus-step',
    say: 'Move the focuser by one small step and take the same frame again: coma keeps its direction, the rest turns or swells.',
  },
  {
    between: [['seeing'], ['clean']],
    experiment: 'next-frame',
    say: 'Take three more frames a few minutes apart: air changes from frame to frame, a limit of the telescope does not.',
  },
];

export const LAST_RESORT: { experiment: Experiment; say: string } = {
  experiment: 'more-frames',
  say: 'Take four more frames of this field: together they hold enough stars to decide.',
};
