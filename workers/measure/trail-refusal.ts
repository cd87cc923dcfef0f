import { median, quantile } from '../math/robust.ts';
import { HEAD_RADIUS_PX, type LightPicture, type TrailHead } from './trail-heads.ts';
import { FROM_PX, meanLight } from './trail-length.ts';
import { profilesAlong } from './trail-profile.ts';
import { COARSE_REACH_PX } from './trail-way.ts';

export const LEAST_LENGTH_PX = 25;
const NO_TRAILS =
  'No trails with a bright end are seen in this frame. Let the mount track for five seconds, then switch the drive off and leave the shutter open for another twenty.';
const NO_BRIGHT_END =
  'The trails have no bright end: which end is the beginning cannot be told. Let the mount track for about five seconds first, then switch it off.';
export const CROWDED =
  'The trails run out of the frame, or over each other. Leave the shutter open for a shorter time after switching off.';
const SHORT =
  'The trails are too short to tell their direction. Leave the shutter open for longer after switching off.';

/**
 * Trails of a quarter to four fifths of the exposure hold this part of the head's light in each px of their first part,
 * up to some 500 px of length; stars that stood, whichever way is looked, hold less than a third of it.
 */
const LEAST_LEVEL = 0.006;
/** ... and so many times what other directions differ by. */
const STANDS_OUT = 2;
const EVERY_DEG = 6;
/**
 * A bright point on an even trail holds the light of as many px of it as its circle is wide: one part in so many runs on in each
 * px (elementary). A fifth less, and something stood there.
 */
const EVEN_LEVEL = 0.8 / (2 * HEAD_RADIUS_PX);
/** Light this far from a head is beyond a trail that is too short, in px; of the nearer light so much is left there. */
const BEYOND_SHORT_PX = 30;
const LEFT_BEYOND = 0.35;

/**
 * Why no trails could be read although bright points are there: there are none, they are too short, they have no bright end,
 * or there are too many. `angleRad`: the way that most light runs; `lengthPx`: where it seems
 * to end.
 */
export function whyUnread(
  light: LightPicture,
  heads: readonly TrailHead[],
  angleRad: number,
  lengthPx: number,
): string {
  const lit = (turnRad: number): number[] =>
    profilesAlong(light, heads, { angleRad: angleRad + turnRad, turnPerPx: 0 }, COARSE_REACH_PX).map(
      meanLight,
    );
  const around = Array.from({ length: 360 / EVERY_DEG }, (_, i) =>
    middle(lit((i * EVERY_DEG * Math.PI) / 180)),
  ).filter(Number.isFinite);
  const spread = quantile(around, 0.75) - quantile(around, 0.25);
  const level = middle(lit(0));
  if (!(level > Math.max(LEAST_LEVEL, STANDS_OUT * spread))) return NO_TRAILS;
  if (level > EVEN_LEVEL) return NO_BRIGHT_END;
  return lengthPx < LEAST_LENGTH_PX && endsAtOnce(light, heads, angleRad) ? SHORT : CROWDED;
}

const middle = (values: readonly number[]): number => median(values.filter(Number.isFinite));

/** Whether the light stops within the first px. */
function endsAtOnce(light: LightPicture, heads: readonly TrailHead[], angleRad: number): boolean {
  const profiles = profilesAlong(light, heads, { angleRad, turnPerPx: 0 }, COARSE_REACH_PX).filter(
    ({ reach }) => reach === COARSE_REACH_PX,
  );
  const near = middle(profiles.map((profile) => median(profile.light.subarray(FROM_PX, FROM_PX + 6))));
  const far = middle(profiles.map((profile) => median(profile.light.subarray(BEYOND_SHORT_PX))));
  return far < LEFT_BEYOND * near;
}
