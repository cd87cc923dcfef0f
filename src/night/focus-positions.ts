import type { RunPoint } from '../../workers/protocol/run.ts';
import { clockText } from './mark-words.ts';

/** A frame whose focus position is told by its file, by the person, or by nobody. */
export interface PlacedFrame {
  key: string;
  name: string;
  clock: string;
  sizePx: number | null;
  fromFile: number | null;
  told: number | null;
}

/** A focus run is short: nobody types a position for every frame of a night. */
const MOST = 60;
const FEWEST = 3;

/** The frames to be asked for, in order of time; none where every file tells its position or there are too many. */
export function placedFrames(
  points: readonly RunPoint[],
  names: readonly string[],
  told: Record<string, number>,
): PlacedFrame[] {
  const rows = points.map(({ key, timeMs, hfdPx, focusPosition }, i) => ({
    key,
    name: names[i],
    clock: clockText(timeMs),
    sizePx: hfdPx?.value ?? null,
    fromFile: focusPosition,
    told: told[key] ?? null,
  }));
  const typed = rows.some(({ told: position }) => position !== null);
  const silent = rows.some(({ fromFile }) => fromFile === null);
  return typed || (silent && rows.length >= FEWEST && rows.length <= MOST) ? rows : [];
}

/** Evenly spaced positions, in the order of the frames; without the dust of binary fractions. */
export const evenly = (
  frames: readonly Pick<PlacedFrame, 'key'>[],
  first: number,
  each: number,
): Record<string, number> =>
  Object.fromEntries(frames.map(({ key }, i) => [key, Number((first + i * each).toPrecision(12))]));
