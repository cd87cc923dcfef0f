import { MOST_TOGETHER } from '../../workers/protocol/together.ts';

/** How many frames are taken together from a run. */
const TAKEN = Math.min(5, MOST_TOGETHER);

/**
 * The chosen frame of a list in order of time, then those next to it, nearest first, as long as their file is at hand
 * and they could be measured. Empty when the chosen one itself cannot be used.
 */
export function withNeighbours<T>(
  items: readonly T[],
  chosen: number,
  fileOf: (item: T) => File | null,
): File[] {
  const own = fileOf(items[chosen]);
  if (!own) return [];
  const files = [own];
  for (let step = 1; step < items.length && files.length < TAKEN; step++)
    for (const at of [chosen + step, chosen - step]) {
      const file = items[at] ? fileOf(items[at]) : null;
      if (file && files.length < TAKEN) files.push(file);
    }
  return files;
}
