import type { HowTo } from '../protocol/experiment.ts';
import type { Experiment } from '../protocol/report.ts';

const NOTHING_ELSE = 'Change nothing else: same field, same exposure, same filter.';

/** Every experiment as hands do it, in the dark and with gloves. */
export const HOW_TO: Record<Experiment, HowTo> = {
  'refocus-step': {
    experiment: 'refocus-step',
    title: 'Move the focus by a small step',
    steps: [
      'Move the focuser outwards by about five times the focal ratio squared in micrometres: at f/4 some 80 µm.',
      'Write down how far and which way; let it settle.',
      'Take the same frame again.',
    ],
    frames: 1,
    beware:
      'Always outwards if the focuser stands at its stop. A step too small drowns in the air, one too large hides everything else.',
  },
  'rotate-camera': {
    experiment: 'rotate-camera',
    title: 'Turn the camera',
    steps: [
      'Loosen the camera, turn it by a quarter or a half, and tighten it again.',
      'Set the focus as it was; centre the same field.',
      'Take the same frame again.',
    ],
    frames: 1,
    beware: 'Seat it fully before tightening: a camera that sits askew is a new tilt of its own.',
  },
  'halve-exposure': {
    experiment: 'halve-exposure',
    title: 'Halve the exposure',
    steps: ['Set half the exposure.', 'Take four frames one after the other, touching nothing.'],
    frames: 4,
    beware: NOTHING_ELSE.replace(', same exposure', ''),
  },
  'next-frame': {
    experiment: 'next-frame',
    title: 'Take the next frame',
    steps: ['Keep your hands off.', 'Take the same frame again.'],
    frames: 1,
    beware: NOTHING_ELSE,
  },
  'half-aperture': {
    experiment: 'half-aperture',
    title: 'Cover half of the tube',
    steps: [
      'Hold or tape a card over one half of the tube’s mouth, its edge through the middle.',
      'Write down which half.',
      'Take the same frame with twice the exposure.',
    ],
    frames: 1,
    beware: 'Do not lean on the tube. The card must not touch the secondary’s holder.',
  },
  'screw-turn': {
    experiment: 'screw-turn',
    title: 'Turn one collimation screw',
    steps: [
      'Mark the screw and turn it by an eighth of a turn; write down which way.',
      'Bring the field back to the middle: it moves.',
      'Take the same frame again.',
    ],
    frames: 1,
    beware: 'One screw only, and no more than an eighth. Some mirrors are fixed and have no such screws.',
  },
  'other-pier-side': {
    experiment: 'other-pier-side',
    title: 'The other side of the pier',
    steps: [
      'Swing the mount to the other side of the pier.',
      'Centre the same field, keep the focus.',
      'Take the same frame again.',
    ],
    frames: 1,
    beware: 'Let the mirror settle for a minute: it may lie differently now, and that is what is asked.',
  },
  'change-filter': {
    experiment: 'change-filter',
    title: 'Another filter',
    steps: [
      'Put a narrow filter in, or take it out.',
      'Set the focus again: glass moves it outwards by a third of its thickness.',
      'Take the same frame with an exposure that keeps the stars as bright.',
    ],
    frames: 1,
    beware: 'Without setting the focus again the test is void.',
  },
  'more-frames': {
    experiment: 'more-frames',
    title: 'Take more frames',
    steps: ['Take four more frames of this field, touching nothing.'],
    frames: 4,
    beware: NOTHING_ELSE,
  },
};
