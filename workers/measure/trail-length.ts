import { median } from '../math/robust.ts';
import { stacked, type HeadProfile } from './trail-profile.ts';

/** Light nearer than this belongs to the head. */
export const FROM_PX = 12;

/** Median of one head's light ahead; NaN where the frame ends too soon. */
export const meanLight = ({ light, reach }: HeadProfile): number =>
  reach > FROM_PX + 6 ? median(light.subarray(FROM_PX, reach)) : NaN;

/** Mean light per px of length between head and end, and how sure it is by its scatter. */
export function strengthOf(
  profiles: readonly HeadProfile[],
  toPx: number,
): { level: number; sigmas: number } {
  const { values, weights } = stacked(profiles);
  const to = Math.min(values.length, Math.floor(toPx) - 4);
  let [sum, square, n] = [0, 0, 0];
  for (let r = FROM_PX; r < to; r++)
    if (weights[r] > 0) [sum, square, n] = [sum + values[r], square + values[r] ** 2, n + 1];
  if (n < 4) return { level: 0, sigmas: 0 };
  const level = sum / n;
  const scatter = Math.sqrt(Math.max(square / n - level * level, 1e-30));
  return { level, sigmas: level / (scatter / Math.sqrt(n / 3)) };
}

/** Where the light ends: an even line that stops, blurred like the stars. */
export function endOf(profiles: readonly HeadProfile[]): number {
  const { values, weights } = stacked(profiles);
  const n = values.length;
  const [sw, sv] = [new Float64Array(n + 1), new Float64Array(n + 1)];
  for (let r = 0; r < n; r++) {
    const weight = r < FROM_PX ? 0 : weights[r];
    sw[r + 1] = sw[r] + weight;
    sv[r + 1] = sv[r] + weight * values[r];
  }
  // Least squares of a step from a level to none: the sum that it explains is (sum w v)² / sum w.
  let [best, most] = [FROM_PX, 0];
  for (let end = FROM_PX + 6; end <= n; end++) {
    const gain = sv[end] > 0 ? sv[end] ** 2 / sw[end] : 0;
    if (gain > most) [best, most] = [end, gain];
  }
  return softEnd(values, weights, best);
}

/**
 * The step's place to a part of a pixel: least squares of an even line that stops, blurred by a Gaussian of unknown width
 * (its integral by the logistic curve, good to 1 %), over what lies before and behind.
 */
export function softEnd(values: Float64Array, weights: Float64Array, near: number): number {
  const [from, to] = [Math.max(FROM_PX, near - 60), Math.min(values.length, near + 30)];
  let [best, most] = [near - 0.5, -Infinity];
  for (const blur of BLURS_PX)
    for (let end = near - 9; end <= near + 9; end += 0.1) {
      let [line, square] = [0, 0];
      for (let r = from; r < to; r++) {
        const part = 1 / (1 + Math.exp((1.702 * (r - end)) / blur));
        line += weights[r] * part * values[r];
        square += weights[r] * part * part;
      }
      const gain = line > 0 ? (line * line) / square : 0;
      if (gain > most) [best, most] = [end, gain];
    }
  return best;
}
const BLURS_PX = [1, 1.6, 2.5, 4];

/** Light just behind the end over that just before it: near 0 for trails that end, near 1 for such as go on. */
export function lightBehindEnd(profiles: readonly HeadProfile[], lengthPx: number): number {
  const { values, weights } = stacked(profiles);
  const mean = (from: number, to: number): number => {
    let [sum, total] = [0, 0];
    for (let r = Math.max(FROM_PX, Math.round(from)); r < Math.min(values.length, to); r++)
      [sum, total] = [sum + weights[r] * values[r], total + weights[r]];
    return total > 0 ? sum / total : NaN;
  };
  return mean(lengthPx + 8, lengthPx + 48) / mean(lengthPx - 48, lengthPx - 8);
}
