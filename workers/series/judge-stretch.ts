import { median } from '../math/robust.ts';
import type { RunPoint } from '../protocol/run.ts';

/** Frames that may be compared with one another: same focus setting and side of the pier, no long break between. */
export interface Stretch {
  from: number;
  to: number;
  points: RunPoint[];
  /** Minutes since the run's first frame. */
  minutes: number[];
}

/** A break longer than this, and than ten usual steps, begins afresh: somebody was at the telescope. */
const BREAK_MIN = 15;

export function stretchesOf(points: readonly RunPoint[]): Stretch[] {
  const minutes = minutesOf(points);
  const usual = median(minutes.slice(1).map((at, i) => at - minutes[i]));
  const found: Stretch[] = [];
  let from = 0;
  for (let i = 1; i <= points.length; i++) {
    if (i < points.length && !cut(points, minutes, usual, i)) continue;
    found.push({ from, to: i - 1, points: points.slice(from, i), minutes: minutes.slice(from, i) });
    from = i;
  }
  return points.length === 0 ? [] : found;
}

export const minutesOf = (points: readonly RunPoint[]): number[] =>
  points.map(({ timeMs }) => (timeMs - points[0].timeMs) / 60_000);

/** Whether something was changed by hand before frame i. */
function cut(points: readonly RunPoint[], minutes: number[], usual: number, i: number): boolean {
  const [before, after] = [points[i - 1], points[i]];
  const differ = (a: unknown, b: unknown) => a !== null && b !== null && a !== b;
  return (
    differ(before.focusPosition, after.focusPosition) ||
    differ(before.pierSide, after.pierSide) ||
    (before.place !== null && after.place !== null && before.place.flipped !== after.place.flipped) ||
    minutes[i] - minutes[i - 1] > Math.max(BREAK_MIN, 10 * usual)
  );
}
