import { advice, cure, hasCorrector, say, type Move, type MoveContext } from './move.ts';

/** Coma between these parts of a bare paraboloid's of the same focal ratio is the mirror's own. */
const OWN = { least: 0.6, most: 1.5 };
/** Coma falls with the cube of the focal ratio at a given place of the sensor: this much slower halves it. */
const HALVING = 1.26;

/** Coma that grows with the distance from the axis: the mirror's own where nothing corrects it. */
export function comaMoves(c: MoveContext): Move[] {
  const { rig } = c;
  if (hasCorrector(rig))
    return [cure(c, 'Check the spacing between the corrector and the camera.', 'daylight', 'spacer rings')];
  const strength = c.model.coma.strength?.value ?? null;
  const own = strength !== null && strength > OWN.least && strength < OWN.most;
  const why = own ? 'Coma is as strong as theory gives it for this mirror: it is the mirror’s own. ' : '';
  const text = 'A coma corrector would remove it.';
  return [
    advice(`${why}Keep the target ${withinCircle(c)}, or crop the corners.`, 'now'),
    stopDown(c),
    rig.fixed.corrector
      ? cure(c, text, 'not-possible', 'a coma corrector')
      : cure(c, text, 'daylight', 'a coma corrector'),
  ];
}

function withinCircle({ roundCircle }: MoveContext): string {
  if (!roundCircle) return 'near the middle';
  const { radiusPx, radiusArcmin, coversAll } = roundCircle;
  if (coversAll) return 'near the middle';
  const onSky = radiusArcmin === null ? '' : ` (${say(radiusArcmin, radiusArcmin < 10 ? 1 : 0)}′)`;
  return `within ${say(radiusPx)} px${onSky} of where the tails point from: there stars stay round`;
}

function stopDown(c: MoveContext): Move {
  const ring = 'a ring of card';
  if (!c.focalRatio)
    return advice('Stop the aperture down and expose longer by the square of the ratio.', 'now', ring);
  return advice(
    `Stop down to f/${say(c.focalRatio * HALVING, 1)} and expose ${say(HALVING ** 2, 1)} times as long: coma falls to half.`,
    'now',
    ring,
  );
}
