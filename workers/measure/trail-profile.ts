import { median } from '../math/robust.ts';
import type { LightPicture, TrailHead } from './trail-heads.ts';

/** How the trails lie: direction at the middle of the frame, and its turn along the trails, radians per px. */
export interface TrailWay {
  angleRad: number;
  turnPerPx: number;
}

/** Light along the way from one head, in parts of the head's light: per px of length, and times its offset across. */
export interface HeadProfile {
  head: TrailHead;
  /** Offset of the head from the frame's middle along the trails, px. */
  alongPx: number;
  light: Float32Array;
  across: Float32Array;
  /** How many of the profile's px lie in the frame. */
  reach: number;
  /** Noise of the light of one px of length. */
  sigma: number;
  /** 0 where another star lies on the way. */
  weights: Float32Array;
}

/** Half width of the strip that holds a trail, and where the sky beside it is taken. */
export const STRIP_PX = 6;
const BESIDE_PX = 10;

/** Profiles from every head along its own way; the field turns about the pole, so ways bend and differ over the frame. */
export function profilesAlong(
  light: LightPicture,
  heads: readonly TrailHead[],
  way: TrailWay,
  reachPx: number,
): HeadProfile[] {
  const [cx, cy] = [(light.widthPx - 1) / 2, (light.heightPx - 1) / 2];
  const [c, s] = [Math.cos(way.angleRad), Math.sin(way.angleRad)];
  const profiles = heads.map((head) => {
    const alongPx = c * (head.xPx - cx) + s * (head.yPx - cy);
    const profile: HeadProfile = {
      head,
      alongPx,
      light: new Float32Array(reachPx),
      across: new Float32Array(reachPx),
      reach: 0,
      sigma: (light.noise * NOISE_ACROSS) / head.flux,
      weights: new Float32Array(reachPx),
    };
    const start = way.angleRad + way.turnPerPx * alongPx;
    for (let r = 0; r < reachPx; r++) {
      const direction = start + way.turnPerPx * r;
      const bow = start + (way.turnPerPx * r) / 2;
      const [x, y] = [head.xPx + r * Math.cos(bow), head.yPx + r * Math.sin(bow)];
      if (!inside(light, x, y)) break;
      const [nx, ny] = [-Math.sin(direction), Math.cos(direction)];
      // What is brighter than the star itself is another one.
      const most = head.flux / 12;
      const at = (w: number) => Math.min(most, sample(light, x + w * nx, y + w * ny));
      const sky = (at(-BESIDE_PX) + at(BESIDE_PX) + at(-BESIDE_PX + 1) + at(BESIDE_PX - 1)) / 4;
      let [sum, moment] = [0, 0];
      for (let w = -STRIP_PX; w <= STRIP_PX; w++) {
        const value = at(w) - sky;
        sum += value;
        moment += value * w;
      }
      profile.light[r] = sum / head.flux;
      profile.across[r] = moment / head.flux;
      profile.reach = r + 1;
    }
    return profile;
  });
  weigh(profiles, reachPx);
  return profiles;
}

/** What a strip less the sky beside it scatters by, in noises of a pixel (bilinear sampling makes it a little less). */
const NOISE_ACROSS = Math.sqrt((2 * STRIP_PX + 1) * (1 + (2 * STRIP_PX + 1) / 4));

/** Trails are alike in parts of their heads' light: what lies far from the middle one is another star, and counts nothing. */
function weigh(profiles: HeadProfile[], reachPx: number): void {
  const middle = Float64Array.from({ length: reachPx }, (_, r) =>
    median(profiles.filter(({ reach }) => reach > r).map((each) => each.light[r])),
  );
  for (const { light, weights, sigma, reach } of profiles)
    for (let r = 0; r < reach; r++) {
      const usual = median(middle.subarray(Math.max(0, r - 3), r + 4));
      const own = Math.hypot(sigma, OWN_WAYS * Math.max(0, usual));
      weights[r] = Math.abs(light[r] - usual) > 3 * own ? 0 : 1 / (own * own);
    }
}
/** Trails differ by so much of their light for reasons of their own: neighbours, pixels. */
const OWN_WAYS = 0.25;

const inside = ({ widthPx, heightPx }: LightPicture, x: number, y: number): boolean =>
  x > BESIDE_PX + 1 && y > BESIDE_PX + 1 && x < widthPx - BESIDE_PX - 2 && y < heightPx - BESIDE_PX - 2;

function sample({ values, widthPx }: LightPicture, x: number, y: number): number {
  const [i, j] = [Math.floor(x), Math.floor(y)];
  const [u, v] = [x - i, y - j];
  const at = j * widthPx + i;
  return (
    (1 - v) * ((1 - u) * values[at] + u * values[at + 1]) +
    v * ((1 - u) * values[at + widthPx] + u * values[at + widthPx + 1])
  );
}

/** Mean over the heads by their weights, per px of length. */
export function stacked(profiles: readonly HeadProfile[]): { values: Float64Array; weights: Float64Array } {
  const reach = profiles.reduce((most, each) => Math.max(most, each.reach), 0);
  const values = new Float64Array(reach);
  const weights = new Float64Array(reach);
  for (const profile of profiles)
    for (let r = 0; r < profile.reach; r++) {
      values[r] += profile.weights[r] * profile.light[r];
      weights[r] += profile.weights[r];
    }
  for (let r = 0; r < reach; r++) if (weights[r] > 0) values[r] /= weights[r];
  return { values, weights };
}
