import type { Cause } from '../protocol/report.ts';
import { comaMoves } from './coma-moves.ts';
import { advice, cure, hasCorrector, say, type Move, type MoveContext } from './move.ts';

/** What to do with hands, for each cause; the first is the one to do next. */
export function nextMoves(cause: Cause, context: MoveContext): Move[] {
  return MOVES[cause](context);
}

const CLAMP =
  'Loosen both clamp screws, push the camera flush, tighten evenly, and take a frame: if the tilt comes back different, it was the clamp.';

const MOVES: Record<Cause, (context: MoveContext) => Move[]> = {
  clean: (c) => [cure(c, 'Nothing needs fixing: start the run.', 'now')],
  seeing: (c) => [
    cure(
      c,
      'Let the tube cool, shield it from wind, and aim higher in the sky; then take the frame again.',
      'now',
    ),
    advice(
      'If it stays like this, the air is what it is: expose as planned and keep the sharpest frames.',
      'now',
    ),
  ],
  focus: (c) => {
    const { focusUm } = c.model;
    const amount = focusUm ? `by ${say(focusUm.value)} µm` : 'in small steps';
    return c.rig.fixed.focuserAtStop
      ? [
          cure(
            c,
            `Refocus ${amount} outwards; if stars swell, the focuser would have to go further in than its stop allows: shorten the spacers first.`,
            'now',
          ),
        ]
      : [
          cure(
            c,
            `Move the focuser ${amount} one way and take the same frame again; if the stars swell, go twice as far the other way.`,
            'now',
          ),
        ];
  },
  tilt: (c) => [
    cure(c, CLAMP, 'now'),
    advice(
      'Turn the camera by 180 degrees and take a frame: tilt that turns with it sits in the camera, tilt that stays sits in the tube.',
      'now',
    ),
    c.rig.fixed.tilt
      ? advice(
          'This sensor’s tilt cannot be adjusted: if it stays, a strip of thin foil under one side of the adapter squares it, or crop the far side.',
          'daylight',
        )
      : cure(
          c,
          'Then turn the tilt adjuster a little on one side and compare.',
          'daylight',
          'a tilt adjuster',
        ),
  ],
  curvature: (c) => {
    if (hasCorrector(c.rig))
      return [
        cure(
          c,
          'Change the spacing between corrector and camera by half a millimetre and compare.',
          'daylight',
          'spacer rings',
        ),
      ];
    const text =
      'The focal surface of these optics is curved: only a flattener would make the corners as sharp as the centre.';
    return [
      advice('Focus on stars halfway to the corner: centre and corners then share the blur.', 'now'),
      c.rig.fixed.corrector
        ? cure(c, text, 'not-possible', 'a flattener')
        : cure(c, text, 'daylight', 'a flattener'),
    ];
  },
  coma: comaMoves,
  collimation: (c) => [
    advice(
      'Turn the camera by 180 degrees and take a frame: a centre of coma that turns with it means that the camera sits off the axis, one that stays means that the mirrors are out of line.',
      'now',
    ),
    c.rig.fixed.primary || c.rig.optics === 'lens'
      ? advice(
          'These optics have no screws for collimation: keep the target where the stars are smallest.',
          'not-possible',
        )
      : cure(
          c,
          'Collimate: put a bright star where the tails point from, and turn the mirror’s screws in small steps until the tails vanish there.',
          'now',
        ),
  ],
  astigmatism: (c) => [
    cure(
      c,
      'Move the focuser by one small step through focus: if the elongation turns by 90 degrees, it is astigmatism; loosen whatever clamps the mirror or lens and let the tube cool.',
      'now',
    ),
    advice('Turn the optics in their cell by a quarter: what turns along is in the glass.', 'daylight'),
  ],
  pinching: (c) => [
    cure(
      c,
      'Loosen the clips or screws that hold the mirror or lens until it just does not rattle; let the tube cool.',
      'daylight',
    ),
  ],
  spherical: (c) =>
    c.rig.optics === 'sphere'
      ? [
          advice(
            'A spherical mirror has this aberration of its own: stopping the aperture down lessens it fast.',
            'now',
            'a ring of card',
          ),
        ]
      : [
          cure(c, 'Let the optics cool for half an hour and take the frame again.', 'now'),
          advice('If it stays, check the spacing of corrector or secondary.', 'daylight'),
        ],
  trailing: (c) => {
    const { path, lengthPx } = c.model.motion;
    const length = lengthPx?.value ?? null;
    if (path === 'jump')
      return [
        cure(
          c,
          'Something knocked or slipped during the exposure: throw this frame away and take the next.',
          'now',
        ),
        advice(
          'If it comes back, look for cables that drag, a loose clamp, wind, or backlash in the gears.',
          'now',
        ),
      ];
    const shorter =
      c.exposureS && length && length > 1 && path === 'straight'
        ? `Expose at most ${say(c.exposureS / length, c.exposureS / length < 10 ? 1 : 0)} s for a trail of one pixel`
        : 'Halve the exposure';
    return [
      cure(
        c,
        c.rig.following === 'none'
          ? `${shorter}: this mount does not follow the sky.`
          : `${shorter}, or improve polar alignment, balance and guiding.`,
        'now',
      ),
    ];
  },
  rotation: (c) =>
    c.rig.following === 'altazimuth'
      ? [
          cure(
            c,
            'An altazimuth mount turns the field: expose shorter, and choose targets low in the east or west, where it turns slowest.',
            'now',
          ),
        ]
      : [
          cure(c, 'Improve polar alignment: the field turned about one point during the exposure.', 'now'),
          advice('Until then expose shorter: the turn shrinks with the time.', 'now'),
        ],
  dispersion: (c) => [
    cure(c, 'Aim higher in the sky: the air spreads colours near the horizon.', 'now'),
    cure(
      c,
      'Align the colours separately when processing, or use a dispersion corrector.',
      'daylight',
      'a dispersion corrector',
    ),
  ],
};
