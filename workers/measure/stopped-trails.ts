import { median } from '../math/robust.ts';
import type { TrailsSeen } from '../protocol/stopped-drive.ts';
import { findHeads, HEAD_RADIUS_PX, lightOf, type LightPicture, type TrailHead } from './trail-heads.ts';
import { endOf, FROM_PX, lightBehindEnd, meanLight, softEnd, strengthOf } from './trail-length.ts';
import { profilesAlong, stacked, type HeadProfile, type TrailWay } from './trail-profile.ts';
import { CROWDED, LEAST_LENGTH_PX, whyUnread } from './trail-refusal.ts';
import { COARSE_REACH_PX, coarseAngle, lateralFit, refined } from './trail-way.ts';

export interface StoppedTrails extends TrailsSeen {
  /** Stars behind it. */
  heads: number;
}

export type TrailsFound = { ok: true; value: StoppedTrails } | { ok: false; sentence: string };
const refused = (sentence: string): TrailsFound => ({ ok: false, sentence });

const FEWEST_HEADS = 5;
const LEAST_SIGMAS = 10;
/** A bright end has nothing behind it: less than this part of what runs ahead. */
const MOST_BEHIND = 0.3;
/** ... and is more than the beginning of an even trail: so much of its light is not the trail's. */
const LEAST_HEAD = 0.5;
/** Where the frame's border cuts trails off at all lengths, no end is sharp. */
const MOST_BEYOND = 0.4;
/** Less light in the trails than this: something else was taken for their end. */
const LEAST_SHARE = 0.55;
const GROUPS = 6;

/**
 * Direction and length of the trails in a frame that tracked for a few seconds and then stood still. `values` are the
 * frame's numbers row by row, NaN where there is none; `saturation` the value from which a pixel is full. All bright
 * points are laid on each other: the light that runs away from them to one side is the trail, whose own light against
 * that of the bright end tells for how long the stars ran.
 */
export function stoppedTrails(
  values: ArrayLike<number>,
  widthPx: number,
  heightPx: number,
  saturation: number,
): TrailsFound {
  const light = lightOf(values, widthPx, heightPx);
  const full = 0.95 * Math.min(saturation, largest(values)) - skyLevel(values);
  let heads = findHeads(light, full);
  if (heads.length < FEWEST_HEADS)
    return refused(
      'Too few bright stars that are not overexposed. Take a field with more stars, or a shorter exposure.',
    );
  const reach = Math.hypot(widthPx, heightPx);
  const bright = heads;
  const first = coarseAngle(light, heads);
  const unread = (seenPx: number) => refused(whyUnread(light, bright, first, seenPx));
  let way: TrailWay = { angleRad: first, turnPerPx: 0 };
  for (const px of [COARSE_REACH_PX, 100]) way = refined(profilesAlong(light, heads, way, px), way, px);
  let profiles = profilesAlong(light, heads, way, Math.ceil(reach));
  let lengthPx = endOf(profiles);
  for (let round = 0; round < 2; round++) {
    if (!(lengthPx > LEAST_LENGTH_PX - 5)) return unread(lengthPx);
    // Bright trails have peaks of their own, which are no heads.
    heads = trueHeads(light, withoutTrails(heads, way, lengthPx), way, lengthPx);
    if (heads.length < FEWEST_HEADS) return unread(lengthPx);
    way = refined(profilesAlong(light, heads, way, Math.ceil(lengthPx)), way, lengthPx);
    profiles = profilesAlong(light, heads, way, Math.ceil(reach));
    lengthPx = endOf(profiles);
  }
  const seen = strengthOf(profiles, lengthPx);
  if (lengthPx < LEAST_LENGTH_PX || !(seen.sigmas > LEAST_SIGMAS)) return unread(lengthPx);
  const back = profilesAlong(light, heads, opposite(way), Math.ceil(lengthPx));
  const begins = 1 - seen.level * HEAD_RADIUS_PX > LEAST_HEAD;
  if (!begins || strengthOf(back, lengthPx).level > MOST_BEHIND * seen.level) return unread(lengthPx);
  const beyond = lightBehindEnd(profiles, lengthPx);
  if (!(Math.abs(beyond) < MOST_BEYOND) || wholeTrails(profiles, lengthPx) < FEWEST_HEADS)
    return refused(CROWDED);
  const value = withErrors(profiles, way, lengthPx);
  if (value.ranShare.value < LEAST_SHARE)
    return refused(
      'The trails are too faint for their bright ends. Let the mount track for only five seconds, and stand for at least fifteen.',
    );
  return { ok: true, value };
}

/** Where nobody knows from which number on a pixel is full, the largest counts as full. */
function largest(values: ArrayLike<number>): number {
  let most = -Infinity;
  for (let i = 0; i < values.length; i++) if (values[i] > most) most = values[i];
  return most;
}

function skyLevel(values: ArrayLike<number>): number {
  const some: number[] = [];
  for (let i = 0; i < values.length; i += 97) if (Number.isFinite(values[i])) some.push(values[i]);
  return some.sort((a, b) => a - b)[some.length >> 1] ?? 0;
}

/** Heads that lie on no trail of a brighter one. */
const withoutTrails = (heads: readonly TrailHead[], way: TrailWay, lengthPx: number): TrailHead[] =>
  heads.filter((head, i) =>
    heads.slice(0, i).every((brighter) => {
      const [dx, dy] = [head.xPx - brighter.xPx, head.yPx - brighter.yPx];
      const along = dx * Math.cos(way.angleRad) + dy * Math.sin(way.angleRad);
      const across = dy * Math.cos(way.angleRad) - dx * Math.sin(way.angleRad);
      return along < 0 || along > lengthPx + 15 || Math.abs(across) > 6 + 0.02 * along;
    }),
  );

/**
 * Heads with nothing behind them and as much light ahead as the others, for theirs: a peak on the trail of a star that stood
 * outside or is overexposed has light on both sides.
 */
function trueHeads(
  light: LightPicture,
  heads: readonly TrailHead[],
  way: TrailWay,
  lengthPx: number,
): TrailHead[] {
  const reach = Math.round(Math.min(lengthPx - 4, NEAR_PX));
  const profiles = profilesAlong(light, heads, way, reach);
  const ahead = profiles.map(meanLight);
  const behind = profilesAlong(light, heads, opposite(way), reach).map(meanLight);
  const usual = median(ahead);
  return heads.filter((_, i) => {
    const noise = (4 * profiles[i].sigma) / Math.sqrt(Math.max(1, reach - FROM_PX));
    if (Number.isFinite(behind[i]) && behind[i] > 0.4 * usual + noise) return false;
    return ahead[i] > 0.5 * usual - noise && ahead[i] < 2 * usual + noise;
  });
}
const NEAR_PX = 60;
const opposite = (way: TrailWay): TrailWay => ({
  // Places along the way count backwards too, so that the turn per px stays.
  angleRad: way.angleRad + Math.PI,
  turnPerPx: -way.turnPerPx,
});

const wholeTrails = (profiles: readonly HeadProfile[], lengthPx: number): number =>
  profiles.filter(({ reach }) => reach > lengthPx + 6).length;

interface Numbers {
  lengthPx: number;
  slope: number;
  turn: number;
  share: number;
}

function numbersOf(profiles: readonly HeadProfile[], nearPx: number): Numbers {
  const { values, weights } = stacked(profiles);
  const lengthPx = softEnd(values, weights, Math.round(nearPx));
  const { level } = strengthOf(profiles, nearPx);
  // The head's circle holds some px of the trail's beginning as well.
  const trail = level * lengthPx;
  const head = Math.max(1e-6, 1 - level * HEAD_RADIUS_PX);
  return { lengthPx, ...lateralFit(profiles, nearPx), share: trail / (trail + head) };
}

/** Errors by leaving out a sixth of the heads in turn (delete-a-group jackknife, Kott 2001). */
function withErrors(profiles: readonly HeadProfile[], way: TrailWay, nearPx: number): StoppedTrails {
  const whole = profiles.filter(({ reach }) => reach > FROM_PX + 10);
  const all = numbersOf(whole, nearPx);
  const groups = Math.min(GROUPS, whole.length);
  const parts = Array.from({ length: groups }, (_, g) =>
    numbersOf(
      whole.filter((_, i) => i % groups !== g),
      nearPx,
    ),
  );
  const sigma = (of: (numbers: Numbers) => number): number => {
    const values = parts.map(of);
    const mean = values.reduce((sum, value) => sum + value, 0) / groups;
    return Math.sqrt((values.reduce((sum, value) => sum + (value - mean) ** 2, 0) * (groups - 1)) / groups);
  };
  const degrees = 180 / Math.PI;
  const ran = (way.angleRad + all.slope) * degrees;
  return {
    ranDeg: {
      value: 180 - ((((180 - ran) % 360) + 360) % 360),
      sigma: degrees * sigma((each) => each.slope),
    },
    // The head's own place is known to a part of a pixel.
    lengthPx: {
      value: all.lengthPx,
      sigma: Math.hypot(
        0.3,
        sigma((each) => each.lengthPx),
      ),
    },
    turnDegPerPx: {
      value: (way.turnPerPx + all.turn) * degrees,
      sigma: degrees * sigma((each) => each.turn),
    },
    ranShare: { value: all.share, sigma: sigma((each) => each.share) },
    heads: whole.length,
  };
}
