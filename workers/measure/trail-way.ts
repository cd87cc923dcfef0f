import { choleskyFactor, choleskySolve } from '../math/linear.ts';
import { median } from '../math/robust.ts';
import { FROM_PX, meanLight, strengthOf } from './trail-length.ts';
import type { LightPicture, TrailHead } from './trail-heads.ts';
import { profilesAlong, STRIP_PX, type HeadProfile, type TrailWay } from './trail-profile.ts';

export const COARSE_REACH_PX = 44;
const MOST_COARSE = 40;

/** The direction in which most light runs from the heads, to two degrees. */
export function coarseAngle(light: LightPicture, heads: readonly TrailHead[]): number {
  let [best, most] = [0, -Infinity];
  const brightest = heads.slice(0, MOST_COARSE);
  for (let degrees = 0; degrees < 360; degrees += 2) {
    const angleRad = (degrees * Math.PI) / 180;
    const profiles = profilesAlong(light, brightest, { angleRad, turnPerPx: 0 }, COARSE_REACH_PX);
    const level = median(profiles.map(meanLight));
    if (level > most) [best, most] = [angleRad, level];
  }
  return best;
}

/** The way that the light across it asks for: place = c + m r + turn (s r + r²/2), s the head's place along the way. */
export function refined(profiles: readonly HeadProfile[], way: TrailWay, toPx: number): TrailWay {
  const fit = lateralFit(profiles, toPx);
  return { angleRad: way.angleRad + fit.slope, turnPerPx: way.turnPerPx + fit.turn };
}

export function lateralFit(profiles: readonly HeadProfile[], toPx: number): { slope: number; turn: number } {
  const normal = new Float64Array(9);
  const right = new Float64Array(3);
  const { level } = strengthOf(profiles, toPx);
  if (!(level > 0)) return { slope: 0, turn: 0 };
  for (const profile of profiles)
    for (let r = FROM_PX; r < Math.min(profile.reach, toPx - 3); r++) {
      const weight = (profile.weights[r] * level * level) / (STRIP_PX * STRIP_PX);
      const row = [1, r, profile.alongPx * r + (r * r) / 2];
      for (let a = 0; a < 3; a++) {
        right[a] += (weight * row[a] * profile.across[r]) / level;
        for (let b = 0; b < 3; b++) normal[3 * a + b] += weight * row[a] * row[b];
      }
    }
  // Without a prior the turn of few short trails would be noise.
  normal[8] += 1 / USUAL_TURN ** 2;
  const factor = choleskyFactor(normal, 3);
  if (!factor) return { slope: 0, turn: 0 };
  const [, slope, turn] = choleskySolve(factor, right);
  return { slope: limited(slope, 0.1), turn: limited(turn, 6 * USUAL_TURN) };
}
/** Turn per px, radians: tan(60 degrees) at 4 arc seconds a pixel. */
const USUAL_TURN = 3.4e-5;
const limited = (value: number, most: number): number => Math.max(-most, Math.min(most, value));
