/** A connected patch of pixels above the threshold, with the local maxima in it, strongest first. */
export interface Patch {
  x0: number;
  y0: number;
  /** Exclusive. */
  x1: number;
  y1: number;
  pixels: number;
  peaks: Peak[];
}

export interface Peak {
  x: number;
  y: number;
  /** Height in the filtered frame in units of its noise. */
  significance: number;
}

/** Layout of a run in the kernels' memory, see kernels/detect.ts. */
const RUN_BYTES = 8;
const PEAK_BYTES = 12;

/**
 * Joins runs that touch (sides or corners) into patches. `runs` and `peaks` are as the detection kernel wrote them:
 * rows ascending, x ascending within a row.
 */
export function joinRuns(runs: DataView, runCount: number, peaks: DataView, peakCount: number): Patch[] {
  const parent = Int32Array.from({ length: runCount }, (_, index) => index);
  const x0 = new Uint16Array(runCount);
  const x1 = new Uint16Array(runCount);
  const y = new Int32Array(runCount);
  for (let index = 0; index < runCount; index++) {
    x0[index] = runs.getUint16(index * RUN_BYTES, true);
    x1[index] = runs.getUint16(index * RUN_BYTES + 2, true);
    y[index] = runs.getUint32(index * RUN_BYTES + 4, true);
  }
  let above = 0;
  for (let index = 0; index < runCount; index++) {
    while (above < index && y[above] < y[index] - 1) above++;
    while (above < index && y[above] === y[index] - 1 && x1[above] < x0[index]) above++;
    for (let other = above; other < index && y[other] === y[index] - 1 && x0[other] <= x1[index]; other++)
      unite(parent, other, index);
  }

  // Roots come before the rest of their patch: patches in the order of their first runs.
  const patches: Patch[] = [];
  const patchOf = new Int32Array(runCount);
  for (let index = 0; index < runCount; index++) {
    const root = find(parent, index);
    const pixels = x1[index] - x0[index];
    if (root === index) {
      patchOf[index] = patches.length;
      patches.push({ x0: x0[index], x1: x1[index], y0: y[index], y1: y[index] + 1, pixels, peaks: [] });
      continue;
    }
    patchOf[index] = patchOf[root];
    const patch = patches[patchOf[root]];
    patch.x0 = Math.min(patch.x0, x0[index]);
    patch.x1 = Math.max(patch.x1, x1[index]);
    patch.y1 = y[index] + 1;
    patch.pixels += pixels;
  }
  // Peaks come in the order of the runs that hold them.
  let run = 0;
  for (let index = 0; index < peakCount; index++) {
    const peak = {
      x: peaks.getUint32(index * PEAK_BYTES, true),
      y: peaks.getUint32(index * PEAK_BYTES + 4, true),
      significance: peaks.getFloat32(index * PEAK_BYTES + 8, true),
    };
    while (y[run] < peak.y || x1[run] <= peak.x) run++;
    patches[patchOf[run]].peaks.push(peak);
  }
  for (const patch of patches)
    if (patch.peaks.length > 1) patch.peaks.sort((a, b) => b.significance - a.significance);
  return patches.filter((patch) => patch.peaks.length > 0);
}

function find(parent: Int32Array, index: number): number {
  while (parent[index] !== index) {
    parent[index] = parent[parent[index]];
    index = parent[index];
  }
  return index;
}

function unite(parent: Int32Array, a: number, b: number): void {
  const rootA = find(parent, a);
  const rootB = find(parent, b);
  if (rootA < rootB) parent[rootB] = rootA;
  else parent[rootA] = rootB;
}
