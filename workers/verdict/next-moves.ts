import type { Rig } from '../protocol/rig.ts';
import type { Cause, FieldModel, Verdict } from '../protocol/report.ts';

type Move = Verdict['next'][number];

/** What a move may refer to. */
export interface MoveContext {
  model: FieldModel;
  rig: Rig;
  focalRatio: number | null;
  exposureS: number | null;
  /** Width that the corners would have without the cause. */
  leftPx: number | null;
}

const say = (value: number, digits = 0) => Math.abs(value).toFixed(digits);

/** What to do with hands, for each cause; the first is the one to do next. */
export function nextMoves(cause: Cause, context: MoveContext): Move[] {
  return MOVES[cause](context);
}

const move = (context: MoveContext, text: string, when: Move['when'], needs: string | null = null): Move => ({
  do: text,
  when,
  needs,
  cornerFwhmLeftPx: when === 'not-possible' ? null : context.leftPx,
});

const MOVES: Record<Cause, (context: MoveContext) => Move[]> = {
  clean: (c) => [
    { do: 'Nothing needs fixing: start the run.', when: 'now', needs: null, cornerFwhmLeftPx: c.leftPx },
  ],
  seeing: (c) => [
    move(
      c,
      'Let the tube cool, shield it from wind, and aim higher in the sky; then take the frame again.',
      'now',
    ),
    {
      do: 'If it stays like this, the air is what it is: expose as planned and keep the sharpest frames.',
      when: 'now',
      needs: null,
      cornerFwhmLeftPx: null,
    },
  ],
  focus: (c) => {
    const { focusUm } = c.model;
    const amount = focusUm ? `by ${say(focusUm.value)} µm` : 'in small steps';
    if (c.rig.fixed.focuserAtStop)
      return [
        move(
          c,
          `Refocus ${amount} outwards; if stars swell, the focuser would have to go further in than its stop allows: shorten the spacers first.`,
          'now',
        ),
      ];
    return [
      move(
        c,
        `Move the focuser ${amount} one way and take the same frame again; if the stars swell, go twice as far the other way.`,
        'now',
      ),
    ];
  },
  tilt: (c) =>
    c.rig.fixed.tilt
      ? [
          move(
            c,
            'Loosen both clamp screws, push the camera flush, tighten evenly, and take a frame: if the tilt comes back different, it was the clamp.',
            'now',
          ),
          move(
            c,
            'Turn the camera by 180 degrees and take a frame: tilt that turns with it sits in the camera, tilt that stays sits in the tube.',
            'now',
          ),
        ]
      : [
          move(
            c,
            'Loosen both clamp screws, push the camera flush, tighten evenly, and take a frame: if the tilt comes back different, it was the clamp.',
            'now',
          ),
          move(
            c,
            'Then turn the tilt adjuster a little on one side and compare.',
            'daylight',
            'a tilt adjuster',
          ),
        ],
  curvature: (c) =>
    c.rig.fixed.corrector
      ? [
          move(
            c,
            'Change the spacing between corrector and camera by half a millimetre and compare.',
            'daylight',
            'spacer rings',
          ),
        ]
      : [
          move(c, 'Focus on stars halfway to the corner: centre and corners then share the blur.', 'now'),
          {
            do: 'The focal surface of this telescope is curved: only a flattener would make the corners as sharp as the centre.',
            when: 'not-possible',
            needs: 'a flattener',
            cornerFwhmLeftPx: null,
          },
        ],
  coma: (c) => {
    const strength = c.model.coma.strength?.value ?? null;
    const own = strength !== null && strength > 0.6 && strength < 1.5;
    if (own || !c.rig.fixed.corrector)
      return [
        move(
          { ...c, leftPx: null },
          `${own ? 'Coma is as strong as theory gives it for this mirror: it is the mirror’s own. ' : ''}Keep the target near the middle, or crop the corners.`,
          'now',
        ),
        stopDown(c),
        move(c, 'A coma corrector would remove it.', 'not-possible', 'a coma corrector'),
      ];
    return [move(c, 'Check the spacing between the corrector and the camera.', 'daylight', 'spacer rings')];
  },
  collimation: (c) => [
    move(
      c,
      'Turn the camera by 180 degrees and take a frame: a centre of coma that turns with it means that the camera sits off the axis, one that stays means that the mirrors are out of line.',
      'now',
    ),
    c.rig.fixed.primary
      ? {
          do: 'This telescope has no screws for collimation: keep the target where the stars are smallest.',
          when: 'not-possible',
          needs: null,
          cornerFwhmLeftPx: null,
        }
      : move(
          c,
          'Collimate: put a bright star where the tails point from, and turn the mirror’s screws in small steps until the tails vanish there.',
          'now',
        ),
  ],
  astigmatism: (c) => [
    move(
      c,
      'Move the focuser by one small step through focus: if the elongation turns by 90 degrees, it is astigmatism; loosen whatever clamps the mirror or lens and let the tube cool.',
      'now',
    ),
    move(c, 'Turn the optics in their cell by a quarter: what turns along is in the glass.', 'daylight'),
  ],
  pinching: (c) => [
    move(
      c,
      'Loosen the clips or screws that hold the mirror or lens until it just does not rattle; let the tube cool.',
      'daylight',
    ),
  ],
  spherical: (c) => [
    move(c, 'Let the optics cool for half an hour and take the frame again.', 'now'),
    move(c, 'If it stays, check the spacing of corrector or secondary.', 'daylight'),
  ],
  trailing: (c) => {
    const length = c.model.motion.lengthPx?.value ?? null;
    const shorter =
      c.exposureS && length && length > 1 && c.model.motion.path === 'straight'
        ? `Expose at most ${say(c.exposureS / length, c.exposureS / length < 10 ? 1 : 0)} s for a trail of one pixel`
        : 'Halve the exposure';
    const first =
      c.model.motion.path === 'jump'
        ? 'Something knocked or slipped during the exposure: throw this frame away and take the next.'
        : `${shorter}, or improve polar alignment, balance and guiding.`;
    return [
      move(c, first, 'now'),
      ...(c.model.motion.path === 'jump'
        ? [
            move(
              c,
              'If it comes back, look for cables that drag, a loose clamp, wind, or backlash in the gears.',
              'now',
            ),
          ]
        : []),
    ];
  },
  rotation: (c) => [
    move(c, 'Improve polar alignment: the field turned about one point during the exposure.', 'now'),
    move(c, 'Until then expose shorter: the turn shrinks with the time.', 'now'),
  ],
  dispersion: (c) => [
    move(c, 'Aim higher in the sky: the air spreads colours near the horizon.', 'now'),
    move(
      c,
      'Align the colours separately when processing, or use a dispersion corrector.',
      'daylight',
      'a dispersion corrector',
    ),
  ],
};

function stopDown(c: MoveContext): Move {
  if (!c.focalRatio)
    return move(
      { ...c, leftPx: null },
      'Stop the aperture down and expose longer by the square of the ratio.',
      'now',
      'a ring of card',
    );
  // Coma falls with the cube of the focal ratio at a fixed field.
  const to = c.focalRatio * 1.3;
  return move(
    { ...c, leftPx: null },
    `Stop down to f/${say(to, 1)} and expose ${say(1.3 ** 2, 1)} times as long: coma falls to half.`,
    'now',
    'a ring of card',
  );
}
