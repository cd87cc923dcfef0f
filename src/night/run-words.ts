import type { RunPoint } from '../../workers/protocol/run.ts';
import { causeName } from '../together/words.ts';

/** "3 frames", "1 frame". */
export const framesText = (count: number): string => `${count} ${count === 1 ? 'frame' : 'frames'}`;

/** A span of time as somebody would say it: "40 s", "12 min", "1 h 20 min". */
export function spanText(seconds: number): string {
  if (seconds < 90) return `${Math.max(1, Math.round(seconds))} s`;
  const minutes = Math.round(seconds / 60);
  if (minutes < 90) return `${minutes} min`;
  const rest = minutes % 60;
  return rest === 0 ? `${Math.floor(minutes / 60)} h` : `${Math.floor(minutes / 60)} h ${rest} min`;
}

/** How the frames' own verdicts share out; null where no frame was asked. */
export function causesSentence(points: readonly Pick<RunPoint, 'verdict'>[]): string | null {
  const counts = new Map<string, number>();
  for (const { verdict } of points)
    if (verdict) counts.set(causeName(verdict.cause), (counts.get(causeName(verdict.cause)) ?? 0) + 1);
  const asked = [...counts.values()].reduce((sum, each) => sum + each, 0);
  if (asked === 0) return null;
  const parts = [...counts].sort((p, q) => q[1] - p[1]).map(([name, count]) => `${name} in ${count}`);
  return `Why the stars are not round, by ${framesText(asked)} looked into: ${parts.join(', ')}.`;
}
